"""Numbers that stand twice: `python -m tests.conventions.facts.constants` lists them.

A fact has one definition. Two rules find its copies in the product's Python files:

- two files bind the same name to the same number of more than two digits;
- a number with three or more significant digits is bound to a name in one file and stands in another one,
  under another name or bare. Rounder numbers (1000, 4096, 60_000) mean many things, so only their names count.

A viper kernel knows only the constants of its own module. So a kernel's file may repeat a definition as
`_NAME = const(number)` where the definition is `NAME` elsewhere; the first rule's pair is then a mirror, and what
test_constants.py asserts is that both are equal.
"""

import ast
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from curbtick_wire import records, sampling

from tests.conventions.sources import python_files, shown, tree
from tests.paths import FIRMWARE, HOST, NOTES, PROBE, WIRE

LEAST = 100
SIGNIFICANT_DIGITS = 3


@dataclass(frozen=True)
class Binding:
    """A number bound to a name at the top of a file."""

    path: Path
    line: int
    name: str
    value: float

    def __str__(self) -> str:
        return f"{shown(self.path)}:{self.line} {self.name} = {self.value:g}"


def number(node: ast.expr) -> float | None:
    """The value of a literal, of arithmetic of literals, or of `const()` of one; None for anything else."""
    if isinstance(node, ast.Call) and ast.unparse(node.func) in ("const", "micropython.const"):
        return number(node.args[0])
    if any(isinstance(part, ast.Name | ast.Attribute | ast.Call | ast.Subscript) for part in ast.walk(node)):
        return None
    try:
        value = eval(compile(ast.Expression(node), "number", "eval"), {"__builtins__": {}})
    except Exception:
        return None
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def bindings(path: Path) -> Iterator[Binding]:
    """Every number of at least LEAST, or with a broken part, that the file binds to a name at its top."""
    for node in tree(path).body:
        target, value = _assignment(node)
        if target is None or value is None:
            continue
        for name, expression in _pairs(target, value):
            found = number(expression)
            if isinstance(name, ast.Name) and found is not None and is_counted(found):
                yield Binding(path, node.lineno, name.id, found)


def _assignment(node: ast.stmt) -> tuple[ast.expr | None, ast.expr | None]:
    if isinstance(node, ast.Assign):
        return node.targets[0], node.value
    if isinstance(node, ast.AnnAssign):
        return node.target, node.value
    return None, None


def _pairs(target: ast.expr, value: ast.expr) -> list[tuple[ast.expr, ast.expr]]:
    """The names of an assignment, each with its value."""
    if isinstance(target, ast.Tuple) and isinstance(value, ast.Tuple):
        return list(zip(target.elts, value.elts, strict=False))
    return [(target, value)]


def is_counted(value: float) -> bool:
    """Whether a number is long enough to be a fact of its own."""
    return abs(value) >= LEAST or significant_digits(value) >= SIGNIFICANT_DIGITS


def significant_digits(value: float) -> int:
    """How many digits a number has between its zeros; powers of two and one less than one have one."""
    whole = int(abs(value))
    if value == int(value) and (whole & (whole - 1) == 0 or whole & (whole + 1) == 0):
        return 1
    return len(repr(abs(value)).removesuffix(".0").replace(".", "").strip("0").split("e")[0])


def all_bindings() -> list[Binding]:
    """What the product's files bind."""
    return [found for path in python_files(FIRMWARE, WIRE, HOST, NOTES) for found in bindings(path)]


def same_names(found: list[Binding]) -> list[list[Binding]]:
    """Groups of bindings of one name to one number in several files, mirrors in kernels left out."""
    groups: dict[tuple[str, float], list[Binding]] = defaultdict(list)
    for one in found:
        if not is_mirror(one, found):
            groups[one.name.strip("_"), one.value].append(one)
    return [group for group in groups.values() if len({one.path for one in group}) > 1]


def is_mirror(one: Binding, found: list[Binding]) -> bool:
    """Whether a kernel's private constant repeats a public definition of another file."""
    private = one.name.startswith("_") and one.path.is_relative_to(PROBE / "dsp")
    return private and any(is_mirrored(other, one) for other in found)


def is_mirrored(other: Binding, one: Binding) -> bool:
    """Whether another file of the probe or the protocol has the public definition of a kernel's constant."""
    near = other.path.is_relative_to(FIRMWARE) or other.path.is_relative_to(WIRE)
    return near and other.path != one.path and other.name == one.name.strip("_")


def unequal_mirrors(found: list[Binding]) -> list[tuple[Binding, Binding]]:
    """Kernels' constants that no longer equal the definition that they repeat."""
    return [
        (one, other)
        for one in found
        if is_mirror(one, found)
        for other in found
        if is_mirrored(other, one) and other.value != one.value
    ]


# Numbers that are equal by chance: file and number, and what the number is there.
COINCIDENCES = {
    ("firmware/curbtick_probe/bumper/trains/loop.py", 250_000): "microseconds, not samples a second",
    ("firmware/curbtick_probe/bumper/trains/quicker.py", 465): "a difference of levels in hundredths of a dB",
    ("firmware/curbtick_probe/dsp/burst/baseband.py", 254): "a tap of the filter",
    ("firmware/curbtick_probe/panel/patterns.py", 4095): "every LED of the bar",
    ("firmware/curbtick_probe/panel/patterns.py", 408): "a pattern's bits",
    ("protocol/curbtick_wire/codec.py", records.NONE_U32): "a mask of 32 bits",
    (
        "host/curbtick/sound/recording.py",
        records.NONE_U32,
    ): "what a WAV header says of a size that is not known",
    ("hardware_notes/board/sheets.py", 112): "a place on the drawing",
    ("host/curbtick/hardware/microphones.py", 115): "a microphone's overload in dB SPL",
    ("host/curbtick/hardware/parts.py", 115): "the overload that a microphone must have in dB SPL",
    ("host/curbtick/yard/sounds/imposters.py", 115): "how many calls a bat makes",
}


def bare_copies(found: list[Binding]) -> list[str]:
    """Numbers of three significant digits that stand bare, or under another name, in another file than their own."""
    homes = {one.value: one for one in found if significant_digits(one.value) >= SIGNIFICANT_DIGITS}
    lines = []
    for path in python_files(FIRMWARE, WIRE, HOST, NOTES):
        mirrors = {one.line for one in found if one.path == path and is_mirror(one, found)}
        for node in ast.walk(tree(path)):
            if not isinstance(node, ast.Constant) or isinstance(node.value, bool):
                continue
            home = homes.get(float(node.value)) if isinstance(node.value, int | float) else None
            chance = (shown(path), node.value) in COINCIDENCES
            if home is not None and home.path != path and node.lineno not in mirrors and not chance:
                lines.append(f"{shown(path)}:{node.lineno} repeats {home}")
    return lines


def numbers_in(path: Path) -> set[int | float]:
    """Every number that stands in a file."""
    values = (node.value for node in ast.walk(tree(path)) if isinstance(node, ast.Constant))
    return {value for value in values if isinstance(value, int | float) and not isinstance(value, bool)}


# A number of so many significant digits is a fact even where nobody names it.
BARE_DIGITS = 4
# Facts that are round numbers, and yet mean one thing wherever they stand: each stands in one file alone.
ROUND_FACTS = {float(fact) for fact in (sampling.RATE_HZ, sampling.HIGHEST_CODE, records.NONE_U32)}


def bare_twice() -> list[str]:
    """Numbers of BARE_DIGITS significant digits, or ROUND_FACTS, that stand bare in two files or more."""
    found = all_bindings()
    homes: dict[float, set[str]] = defaultdict(set)
    for path in python_files(FIRMWARE, WIRE, HOST, NOTES):
        mirrors = {one.value for one in found if one.path == path and is_mirror(one, found)}
        chances = {float(number) for file, number in COINCIDENCES if file == shown(path)}
        for value in {float(number) for number in numbers_in(path)} - mirrors - chances:
            if value in ROUND_FACTS or significant_digits(value) >= BARE_DIGITS:
                homes[value].add(shown(path))
    return [
        f"{value:g} stands in {', '.join(sorted(names))}" for value, names in homes.items() if len(names) > 1
    ]


if __name__ == "__main__":
    every = all_bindings()
    for group in same_names(every):
        print("; ".join(map(str, group)))
    print("\n".join([*bare_copies(every), *bare_twice()]))
    for pair in unequal_mirrors(every):
        print("unequal:", *map(str, pair))
