"""A kernel's own source on CPython, with the arithmetic of the chip, of a PC, or checked.

The source is rewritten so that every arithmetic result passes through one function, and pointers become
views:

- `CHIP` wraps at 32 bits and loads `ptr32` signed, as viper on the Cortex-M0+;
- `PC` wraps at 64 bits and loads `ptr32` zero-extended, as viper on the unix port of a 64-bit machine;
- `CHECKED` raises Headroom when any intermediate leaves a signed 32-bit word, or a store drops bits that are
  not the sign's.

Where CHECKED passes and CHIP and PC agree, the kernel neither overflows nor depends on the word size. Views
raise on any index outside the buffer, and shifts outside 0..31 are refused, in every mode.
"""

import ast
from array import array
from collections.abc import Callable
from enum import Enum
from functools import cache
from pathlib import Path
from typing import Any

from tests.target.core import FIRMWARE, Buffer

WORD_MIN, WORD_MAX = -(1 << 31), (1 << 31) - 1
POINTERS = {"ptr8": 1, "ptr16": 2, "ptr32": 4}


class Mode(Enum):
    """Whose arithmetic a kernel runs with."""

    CHIP = "chip"
    PC = "pc"
    CHECKED = "checked"


class Headroom(Exception):
    """An intermediate left the signed 32-bit range, a store dropped bits, or an access missed its buffer."""


def wrap(value: int, bits: int) -> int:
    """The signed number that the low `bits` of value stand for."""
    half = 1 << (bits - 1)
    return (value + half & (1 << bits) - 1) - half


def _wrap_chip(value: int) -> int:
    return value if WORD_MIN <= value <= WORD_MAX else wrap(value, 32)


def _wrap_pc(value: int) -> int:
    return wrap(value, 64)


def _checked(value: int) -> int:
    if not WORD_MIN <= value <= WORD_MAX:
        raise Headroom(f"intermediate {value} leaves 32 bits")
    return value


def _shift(count: int) -> int:
    if not 0 <= count <= 31:
        raise Headroom(f"shift by {count}")
    return count


ARITHMETIC = {Mode.CHIP: _wrap_chip, Mode.PC: _wrap_pc, Mode.CHECKED: _checked}


class View:
    """What ptr8, ptr16 and ptr32 make of a buffer: `size` bytes an element, bounds checked."""

    def __init__(self, buffer: Buffer, size: int, mode: Mode) -> None:
        octets = memoryview(buffer).cast("B")
        self._words = octets if size == 1 else octets.cast("H") if size == 2 else octets.cast("I")
        self._limit = 1 << (8 * size)
        self._signed = size == 4 and mode is not Mode.PC
        self._strict = mode is Mode.CHECKED

    def __getitem__(self, index: int) -> int:
        value = self._words[self._within(index)]
        return value - self._limit if self._signed and value >= self._limit >> 1 else value

    def __setitem__(self, index: int, value: int) -> None:
        if self._strict and not -(self._limit >> 1) <= value < self._limit:
            raise Headroom(f"{value} stored in an element of {self._limit.bit_length() - 1} bits")
        self._words[self._within(index)] = value & self._limit - 1

    def _within(self, index: int) -> int:
        if not 0 <= index < len(self._words):
            raise Headroom(f"element {index} of a buffer of {len(self._words)}")
        return index


class _Rewrite(ast.NodeTransformer):
    """Passes every arithmetic result through `_op` and every shift count through `_shift`."""

    def visit_BinOp(self, node: ast.BinOp) -> ast.AST:
        self.generic_visit(node)
        if isinstance(node.op, ast.LShift | ast.RShift):
            node.right = _call("_shift", node.right)
        return _call("_op", node)

    def visit_UnaryOp(self, node: ast.UnaryOp) -> ast.AST:
        self.generic_visit(node)
        return node if isinstance(node.op, ast.Not) else _call("_op", node)

    def visit_AugAssign(self, node: ast.AugAssign) -> ast.AST:
        current = ast.parse(ast.unparse(node.target), mode="eval").body
        result = self.visit(ast.BinOp(current, node.op, node.value))
        return ast.Assign([node.target], result)


def _call(name: str, argument: ast.expr) -> ast.Call:
    return ast.Call(ast.Name(name, ast.Load()), [argument], [])


def module_consts(tree: ast.Module) -> dict[str, int]:
    """The module's `NAME = const(expression)` lines, evaluated in order."""
    values: dict[str, int] = {}
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Call):
            call = node.value
            if (
                isinstance(call.func, ast.Name)
                and call.func.id == "const"
                and isinstance(node.targets[0], ast.Name)
            ):
                code = compile(ast.Expression(call.args[0]), "const", "eval")
                values[node.targets[0].id] = eval(code, {"__builtins__": {}}, dict(values))
    return values


def find_kernel(tree: ast.Module, function: str) -> ast.FunctionDef:
    """The named function of a module; KeyError when it has none."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name == function:
            return node
    raise KeyError(function)


@cache
def _build(path: Path, function: str, mode: Mode, _stamp: int) -> tuple[Callable[..., Any], tuple[str, ...]]:
    tree = ast.parse(path.read_text())
    kernel = find_kernel(tree, function)
    kinds = tuple(ast.unparse(a.annotation) if a.annotation else "object" for a in kernel.args.args)
    kernel.decorator_list, kernel.returns = [], None
    for argument in kernel.args.args:
        argument.annotation = None
    rewritten = ast.fix_missing_locations(ast.Module([_Rewrite().visit(kernel)], []))
    names: dict[str, Any] = {
        "_op": ARITHMETIC[mode],
        "_shift": _shift,
        "__builtins__": {"int": int, "range": range},
    }
    names.update(module_consts(tree))
    exec(compile(rewritten, str(path), "exec"), names)
    return names[function], kinds


def run(source: str | Path, function: str, mode: Mode, args: tuple[Buffer | int, ...]) -> int:
    """Runs a kernel with its buffers changed in place; returns its result (0 for none)."""
    path = FIRMWARE / source
    body, kinds = _build(path, function, mode, path.stat().st_mtime_ns)
    views = [
        View(value, POINTERS[kind], mode) if isinstance(value, array | bytearray) else value
        for value, kind in zip(args, kinds, strict=True)
    ]
    return int(body(*views) or 0)
