"""What a viper kernel may say and must state. Its arithmetic is tested in tests/target."""

import ast
import builtins
import re

import pytest

from tests.conventions.sources import Found, tree, viper_functions
from tests.paths import PROBE, ROOT

KERNELS = viper_functions()
ANNOTATIONS = {"ptr8", "ptr16", "ptr32", "int"}
BUILT_IN = ANNOTATIONS | {"range", "uint"}
STATED = (r"Q format:|Q\d+", r"Range:", r"Headroom:")


def consts(found: Found) -> set[str]:
    """The names that the kernel's module defines by `const(...)`: the compiler puts their values in the code."""
    names: set[str] = set()
    for node in tree(found.path).body:
        if isinstance(node, ast.Assign) and ast.unparse(node.value).startswith("const("):
            names.update(t.id for t in node.targets if isinstance(t, ast.Name))
    return names


def locals_of(found: Found) -> set[str]:
    stored = {n.id for n in ast.walk(found.node) if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)}
    return stored | {a.arg for a in found.node.args.args}


@pytest.mark.parametrize("kernel", KERNELS, ids=str)
def test_a_kernel_is_run_three_ways_in_the_target_tests(kernel: Found) -> None:
    module = kernel.path.relative_to(PROBE.parent).as_posix()
    tests = [path.read_text(encoding="utf-8") for path in (ROOT / "tests/target/kernels").glob("test_*.py")]
    assert [text for text in tests if f'"{module}"' in text and f'"{kernel.node.name}"' in text]


def test_there_are_kernels() -> None:
    assert KERNELS


@pytest.mark.parametrize("kernel", KERNELS, ids=str)
def test_kernels_stand_in_dsp(kernel: Found) -> None:
    assert kernel.path.is_relative_to(PROBE / "dsp")


@pytest.mark.parametrize("kernel", KERNELS, ids=str)
def test_a_kernel_uses_its_arguments_constants_and_locals_only(kernel: Found) -> None:
    known = locals_of(kernel) | consts(kernel) | BUILT_IN
    body = [node for statement in kernel.node.body for node in ast.walk(statement)]
    assert not {node.id for node in body if isinstance(node, ast.Name)} - known
    assert not [ast.unparse(node) for node in body if isinstance(node, ast.Attribute)]


@pytest.mark.parametrize("kernel", KERNELS, ids=str)
def test_a_kernel_takes_and_returns_words(kernel: Found) -> None:
    given = {ast.unparse(a.annotation) if a.annotation else "nothing" for a in kernel.node.args.args}
    assert given <= ANNOTATIONS
    assert kernel.node.returns is None or ast.unparse(kernel.node.returns) == "int"


@pytest.mark.parametrize("kernel", KERNELS, ids=str)
def test_a_kernel_states_its_format_range_and_headroom(kernel: Found) -> None:
    text = ast.get_docstring(kernel.node) or ""
    assert not [wanted for wanted in STATED if not re.search(wanted, text)]


@pytest.mark.parametrize("kernel", KERNELS, ids=str)
def test_a_kernel_has_no_float_and_no_division_into_one(kernel: Found) -> None:
    for node in ast.walk(kernel.node):
        assert not (isinstance(node, ast.Constant) and isinstance(node.value, float))
        assert not isinstance(node, ast.Div | ast.Pow)


def test_names_a_kernel_may_use_are_not_hidden_globals() -> None:
    assert {"int", "range"} <= set(dir(builtins))
