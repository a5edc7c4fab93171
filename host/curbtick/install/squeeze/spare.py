"""Names that a program has anyhow, as attributes or strings, to call other things by: a chip keeps each name once."""

import ast
import itertools
import keyword
import string
from collections import Counter
from collections.abc import Iterator

from curbtick.install.squeeze.modules import Program

# MicroPython's built-in names (py/modbuiltins.c of v1.28.0). The computer's own Python has others in each version.
BUILT_IN = frozenset({
    "ArithmeticError", "AssertionError", "AttributeError", "BaseException", "EOFError", "Ellipsis", "Exception",
    "GeneratorExit", "ImportError", "IndentationError", "IndexError", "KeyError", "KeyboardInterrupt",
    "LookupError", "MemoryError", "NameError", "NotImplemented", "NotImplementedError", "OSError", "OverflowError",
    "RuntimeError", "StopAsyncIteration", "StopIteration", "SyntaxError", "SystemExit", "TypeError", "UnicodeError",
    "ValueError", "ViperTypeError", "ZeroDivisionError", "abs", "all", "any", "bin", "bool", "bytearray", "bytes",
    "callable", "chr", "classmethod", "compile", "complex", "delattr", "dict", "dir", "divmod", "enumerate", "eval",
    "exec", "execfile", "filter", "float", "frozenset", "getattr", "globals", "hasattr", "hash", "help", "hex",
    "id", "input", "int", "isinstance", "issubclass", "iter", "len", "list", "locals", "map", "max", "memoryview",
    "min", "next", "object", "oct", "open", "ord", "pow", "print", "property", "range", "repr", "reversed", "round",
    "set", "setattr", "slice", "sorted", "staticmethod", "str", "sum", "super", "tuple", "type", "zip",
})  # fmt: skip
# What MicroPython's compiler and its machine code know by name.
_COMPILER = frozenset({"micropython", "const", "self", "ptr", "ptr8", "ptr16", "ptr32", "uint"})


def variables(module: ast.AST) -> set[str]:
    """Every name that stands for a variable, an argument, a function, a class or an import."""
    names: set[str] = set()
    for node in ast.walk(module):
        match node:
            case ast.Name(id=word) | ast.arg(arg=word) | ast.FunctionDef(name=word) | ast.ClassDef(name=word):
                names.add(word)
            case ast.alias(name=word, asname=other):
                names.add(other or word)
    return names


def attributes(program: Program) -> Counter[str]:
    """Every name that stands for an attribute, and methods' names."""
    counts: Counter[str] = Counter()
    for module in program.values():
        for node in ast.walk(module):
            match node:
                case ast.Attribute(attr=word) | ast.FunctionDef(name=word):
                    counts[word] += 1
    return counts


def strings(program: Program) -> set[str]:
    """Every string that could be a name."""
    return {
        node.value
        for module in program.values()
        for node in ast.walk(module)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and is_name(node.value)
    }


def is_name(word: str) -> bool:
    """Whether a word may be a name that means nothing yet."""
    return (
        word.isidentifier()
        and word.isascii()
        and not keyword.iskeyword(word)
        and word not in BUILT_IN | _COMPILER
    )


def for_variables(program: Program) -> list[str]:
    """Words a variable may be called where no other one is called so, the shorter ones first."""
    words = strings(program) | {word for word in attributes(program) if is_name(word)}
    return sorted((word for word in words if not word.startswith("_")), key=lambda word: (len(word), word))


def for_attributes(program: Program) -> list[str]:
    """Words that no object of the program has as an attribute."""
    used_names = attributes(program)
    return [word for word in for_variables(program) if word not in used_names]


def new_words(letters: str = string.ascii_lowercase) -> Iterator[str]:
    """a, b, ... z, aa, ab, ..."""
    for length in itertools.count(1):
        for word in itertools.product(letters, repeat=length):
            yield "".join(word)
