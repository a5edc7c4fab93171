"""What is left of a program's source for a chip's memory, and that it still does the same."""

import ast
import importlib.abc
import itertools
import subprocess
import sys
from importlib.machinery import ModuleSpec
from types import ModuleType

import pytest
from curbtick.install.squeeze import constants, joining, shorter, spare, squeeze
from curbtick.install.squeeze.modules import Program
from curbtick.virtual.probe.micropython import find_micropython

PROGRAM = {
    "main": """
from shop import till
from shop.goods import KINDS
till.open_for(KINDS)
""",
    "shop/__init__": "",
    "shop/goods": '''
"""What is sold."""
from micropython import const
RED, GREEN, BLUE = range(3)
LARGE = 1 << 40
_STEP = const(4)
LAST = _STEP * BLUE
KINDS = (("a_rather_long_word", "B", LAST), ("short", "H", -LAST))
UNUSED = ("nobody", "asks")

def price(kind, count=1):
    """Return what it costs."""
    return _rebate(kind) * count + GREEN

def _rebate(kind: int) -> int:
    return kind - RED
''',
    "shop/till": """
import array
from shop import goods
from shop.goods import price
from shop.drawer import Drawer

def open_for(kinds):
    drawer = Drawer(kinds)
    drawer.put(array.array("i", [goods.BLUE, goods.LAST]))
    goods_sold = [sold for sold in drawer.within]
    drawer.total = price(goods_sold[1], count=3) + sum(x for x in goods_sold)
    till_words.append((drawer.total, drawer.describe(kinds)))

till_words = []
""",
    "shop/drawer": """
from array import array
from shop import goods

_SHELF = "sh" + "elf"

class Drawer:
    def __init__(self, kinds):
        self._kinds = kinds
        self.kinds = 0
        self.within = array("i")

    def put(self, within):
        self.within = within
        self._count(lambda goods: goods + len(self._kinds))

    def _count(self, step):
        self.kinds = step(1)

    def describe(self, kinds):
        from shop import late
        self.kinds += "shelf" == _SHELF
        return late.label(self.kinds, goods.LARGE) + kinds[0][0]

    def never(self):
        return self._count(None)
""",
    "shop/late": """
from shop.stamp import mark
_WORD = "string" + "s"
def label(n, large):
    return mark("%d of %d" % (n, large), _WORD)
""",
    "shop/stamp": """
import string
def mark(text, word):
    return "<" + text + ">" if word not in string.digits else text
""",
}


def run(sources: dict[str, str]) -> object:
    """Run a program from its sources alone and return what it noted in shop.till.till_words."""

    class Finder:
        """Finds the program's modules."""

        @staticmethod
        def find_spec(name: str, path: object, target: object = None) -> object:
            file = name.replace(".", "/")
            # As MicroPython does: a folder is a package, with or without an __init__.
            package = any(path.startswith(f"{file}/") for path in sources)
            if file not in sources and not package:
                return None
            text = sources.get(f"{file}/__init__", "") if package else sources[file]
            return ModuleSpec(name, Loader(text), is_package=package)

    class Loader(importlib.abc.Loader):
        """Runs one module's source."""

        def __init__(self, text: str) -> None:
            self._text = text

        def create_module(self, spec: ModuleSpec) -> None:
            """As usual."""

        def exec_module(self, module: ModuleType) -> None:
            exec(self._text, module.__dict__)  # noqa: S102 - the tests' own program

    finder = Finder()
    sys.meta_path.insert(0, finder)  # type: ignore[arg-type]
    try:
        exec(sources["main"], {})
        return sys.modules["shop.till"].till_words
    finally:
        sys.meta_path.remove(finder)  # type: ignore[arg-type]
        for name in [name for name in sys.modules if name.split(".")[0] == "shop"]:
            del sys.modules[name]


def words(texts: dict[str, str]) -> set[str]:
    """Every name and string in some sources."""
    found: set[str] = set()
    for node in itertools.chain.from_iterable(ast.walk(ast.parse(text)) for text in texts.values()):
        match node:
            case (
                ast.Name(id=word) | ast.Attribute(attr=word) | ast.arg(arg=word) | ast.FunctionDef(name=word)
            ):
                found.add(word)
            case ast.Constant(value=str() as word) | ast.alias(name=word):
                found.add(word)
    return found


def test_a_squeezed_program_does_the_same() -> None:
    assert run(squeeze(PROGRAM)) == run(PROGRAM) == [(35, "<4 of 1099511627776>a_rather_long_word")]


def test_what_nobody_mentions_is_left_out() -> None:
    left = words(squeeze(PROGRAM))
    assert not {"UNUSED", "nobody", "never", "_count", "_rebate", "drawer_count", "const"} & left


def test_small_whole_numbers_stand_in_place_of_their_names() -> None:
    left = words(squeeze(PROGRAM))
    assert not {"RED", "GREEN", "BLUE", "LAST", "_STEP"} & left


def test_modules_are_joined_to_those_that_the_start_or_a_function_imports() -> None:
    assert squeeze(PROGRAM).keys() == {"main", "shop/till", "shop/goods", "shop/late"}


def test_what_stands_in_the_program_is_kept_when_asked_for() -> None:
    assert "never" in words(squeeze(PROGRAM, keep=("shop/drawer",)))


def test_a_module_s_tuple_is_no_constant_of_the_compiler() -> None:
    assert "['short'][0]" in squeeze(PROGRAM)["shop/goods"]
    assert squeeze(PROGRAM)["shop/goods"].startswith("if 0:\n    a_rather_long_word\n")


def test_an_argument_named_in_a_call_keeps_its_name() -> None:
    assert "count" in words(squeeze(PROGRAM)) and "kind" not in words(squeeze(PROGRAM))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("A = 5\nx = A + 2 * A", "x = 15"),
        ("A = 5\nA = 6\nx = A", "x = A"),
        ("A = 5\ndef f(A):\n    return A\n", "return A"),
        ("A = -5\nx = A ** 2", "x = 25"),
        ("A = -5\nx = y ** A - A", "x = y ** (-5) - -5"),
        ("A = 1 << 30\nx = A", "x = A"),
        ("A = True\nx = A", "x = A"),
        ("A, B = range(1, 3)\nx = A * B", "x = 2"),
        ("A = ('red', 'blue')\nx = 1 << A.index('blue')", "x = 2"),
        ("A = ('red', 'blue')\nx = A.index('green')", "x = A.index('green')"),
        ("A = ['red', 'blue']\nx = A.index('blue')", "x = A.index('blue')"),
    ],
)
def test_folding(text: str, expected: str) -> None:
    program: Program = {"main": ast.parse(text)}
    constants.fold(program)
    assert expected in ast.unparse(program["main"])


def test_a_module_s_own_names_wait_for_the_joining_which_knows_what_else_there_is() -> None:
    program: Program = {"main": ast.parse("_a = 'rp2'\nclass C:\n    def _b(self):\n        return _a")}
    shorter.shorten(program)
    text = ast.unparse(program["main"])
    assert "_a = 'rp2'" in text and "return _a" in text and "_b" not in text


def test_a_module_used_as_a_value_cannot_be_joined() -> None:
    program = {"main": ast.parse("from a import f"), "a": ast.parse("import b\nfrom c import d\nf = d")}
    program["c"] = ast.parse("")
    with pytest.raises(joining.CannotJoinError):
        joining.join(program)


def test_micropython_has_no_built_in_name_that_the_list_lacks() -> None:
    """The unix port, asked itself: a variable named like a built-in function would hide it."""
    program = "import builtins\nprint(*[word for word in dir(builtins) if not word.startswith('_')])"
    told = subprocess.run(
        [*find_micropython(), "-c", program], capture_output=True, text=True, check=True
    ).stdout.split()
    assert {"len", "print", "OSError", "bytearray"} <= set(told) <= spare.BUILT_IN
