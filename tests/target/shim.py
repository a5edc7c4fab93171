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


class Address:
    """What `uint(pointer)` gives: a place in a buffer, in bytes, that pointer arithmetic may move."""

    def __init__(self, octets: memoryview, at: int) -> None:
        self.octets = octets
        self.at = at

    def __add__(self, count: int) -> "Address":
        return Address(self.octets, self.at + count)

    def __sub__(self, count: int) -> "Address":
        return Address(self.octets, self.at - count)


def _wrap_chip(value: int | Address) -> int | Address:
    return value if isinstance(value, Address) or WORD_MIN <= value <= WORD_MAX else wrap(value, 32)


def _wrap_pc(value: int | Address) -> int | Address:
    return value if isinstance(value, Address) else wrap(value, 64)


def _checked(value: int | Address) -> int | Address:
    if not isinstance(value, Address) and not WORD_MIN <= value <= WORD_MAX:
        raise Headroom(f"intermediate {value} leaves 32 bits")
    return value


def _shift(count: int) -> int:
    if not 0 <= count <= 31:
        raise Headroom(f"shift by {count}")
    return count


ARITHMETIC = {Mode.CHIP: _wrap_chip, Mode.PC: _wrap_pc, Mode.CHECKED: _checked}


class View:
    """What ptr8, ptr16 and ptr32 make of an address: `size` bytes an element, bounds checked."""

    def __init__(self, address: Address, size: int, mode: Mode) -> None:
        self.address = address
        octets = address.octets
        self._words = octets if size == 1 else octets.cast("H") if size == 2 else octets.cast("I")
        self._base, self._odd = divmod(address.at, size)
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
        place = self._base + index
        if self._odd or not 0 <= place < len(self._words):
            raise Headroom(f"element {place} of a buffer of {len(self._words)}")
        return place


def _pointer(size: int, mode: Mode) -> Callable[[Any], View]:
    """The chip's `ptr8`, `ptr16` or `ptr32` for an address, another pointer or a buffer."""

    def make(target: View | Address | Buffer) -> View:
        if isinstance(target, View):
            target = target.address
        if not isinstance(target, Address):
            target = Address(memoryview(target).cast("B"), 0)
        return View(target, size, mode)

    return make


def _address(pointer: object) -> Address:
    if not isinstance(pointer, View):
        raise Headroom("uint() of anything but a pointer: unsigned arithmetic is not used here")
    return pointer.address


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
    names = {**_services(mode), **module_consts(tree)}
    exec(compile(rewritten, str(path), "exec"), names)
    return names[function], kinds


def _services(mode: Mode) -> dict[str, Any]:
    pointers = {name: _pointer(size, mode) for name, size in POINTERS.items()}
    built_in = {"int": int, "range": range, "uint": _address, **pointers}
    return {"_op": ARITHMETIC[mode], "_shift": _shift, "__builtins__": built_in}


def run(source: str | Path, function: str, mode: Mode, args: tuple[Buffer | int, ...]) -> int:
    """Runs a kernel with its buffers changed in place; returns its result (0 for none)."""
    path = FIRMWARE / source
    body, kinds = _build(path, function, mode, path.stat().st_mtime_ns)
    given = [
        _pointer(POINTERS[kind], mode)(value) if kind in POINTERS else value
        for value, kind in zip(args, kinds, strict=True)
    ]
    return int(body(*given) or 0)
