"""Schematic symbols: strokes and pin places, in units of 2 mm; resistors and the rest as IEC 60617 draws them.

A symbol is drawn at a place and in one of four directions; direction "r" leads from pin 1 to pin 2 to the right.
"""

from dataclasses import dataclass

Point = tuple[float, float]
LENGTH = 6.0
_TURN = {"r": (1, 0, 0, 1), "d": (0, -1, 1, 0), "l": (-1, 0, 0, -1), "u": (0, 1, -1, 0)}


@dataclass(frozen=True)
class Symbol:
    """strokes: polylines; filled: polygons; circles: (centre, radius); pins: pin number -> place."""

    strokes: tuple[tuple[Point, ...], ...]
    pins: dict[str, Point]
    filled: tuple[tuple[Point, ...], ...] = ()
    circles: tuple[tuple[Point, float], ...] = ()
    words: tuple[tuple[Point, str], ...] = ()

    def turned(self, direction: str, place: Point) -> "Symbol":
        """The symbol in a direction ("r", "d", "l", "u") at a place."""
        a, b, c, d = _TURN[direction]

        def move(point: Point) -> Point:
            x, y = point
            return place[0] + a * x + b * y, place[1] + c * x + d * y

        return Symbol(
            tuple(tuple(map(move, stroke)) for stroke in self.strokes),
            {number: move(point) for number, point in self.pins.items()},
            tuple(tuple(map(move, shape)) for shape in self.filled),
            tuple((move(centre), radius) for centre, radius in self.circles),
            tuple((move(point), word) for point, word in self.words),
        )


_ENDS: dict[str, Point] = {"1": (0, 0), "2": (LENGTH, 0)}


def _leads(inner: float, outer: float) -> tuple[tuple[Point, ...], ...]:
    return ((0, 0), (inner, 0)), ((outer, 0), (LENGTH, 0))


RESISTOR = Symbol((*_leads(1, 5), ((1, -0.8), (5, -0.8), (5, 0.8), (1, 0.8), (1, -0.8))), _ENDS)
CAPACITOR = Symbol((*_leads(2.6, 3.4), ((2.6, -1.5), (2.6, 1.5)), ((3.4, -1.5), (3.4, 1.5))), _ENDS)
FUSE = Symbol((*RESISTOR.strokes, ((1, 0), (5, 0))), _ENDS)
SWITCH = Symbol(
    (*_leads(1.8, 4.2), ((1.8, 0), (4.2, -1.4))), _ENDS, circles=(((1.8, 0), 0.25), ((4.2, 0), 0.25))
)
BUTTON = Symbol(
    (*_leads(1.8, 4.2), ((1.5, -1), (4.5, -1)), ((3, -1), (3, -2))),
    _ENDS,
    circles=(((1.8, 0), 0.25), ((4.2, 0), 0.25)),
)
BEEPER = Symbol((*_leads(1.4, 4.6), ((1.4, -1.2), (1.4, 1.2)), ((4.6, -1.2), (4.6, 1.2)),
                 ((2.1, -1), (3.9, -1), (3.9, 1), (2.1, 1), (2.1, -1))), _ENDS)  # fmt: skip
# Pin 1 is the cathode.
_BAR = ((2.0, -1.1), (2.0, 1.1))
DIODE = Symbol((*_leads(2, 4), _BAR), _ENDS, filled=(((4, -1.1), (4, 1.1), (2, 0)),))
SUPPRESSOR = Symbol((*_leads(2, 4), ((1.4, -1.1), *_BAR, (2.6, 1.1))), _ENDS, filled=DIODE.filled)
LED = Symbol(
    (*DIODE.strokes, ((2.6, -1.4), (1.6, -2.8)), ((3.6, -1.4), (2.6, -2.8))), _ENDS, filled=DIODE.filled
)
CELLS = Symbol((*_leads(2, 4), ((2, -1.6), (2, 1.6)), ((2.7, -0.8), (2.7, 0.8)), ((3.3, -1.6), (3.3, 1.6)),
                ((4, -0.8), (4, 0.8))), _ENDS, words=(((1.2, -1.2), "+"),))  # fmt: skip
# Low anode, high cathode, middle: two diodes in a column, the middle to the left.
CLAMP = Symbol(
    (((4, 6), (4, 4.6)), ((4, 2.6), (4, -2.6)), ((4, -4.6), (4, -6)), ((0, 0), (4, 0)),
     ((2.9, 2.6), (5.1, 2.6)), ((2.9, -4.6), (5.1, -4.6))),
    {"1": (4, 6), "2": (4, -6), "3": (0, 0)},
    filled=(((2.9, 4.6), (5.1, 4.6), (4, 2.6)), ((2.9, -2.6), (5.1, -2.6), (4, -4.6))),
)  # fmt: skip
# Gate below, source to the right, drain to the left; the body diode leads from drain to source.
P_FET = Symbol(
    (((0, 0), (3, 0), (3, 1.2)), ((6, 1.2), (6, 0), (9, 0)), ((2.4, 1.2), (3.6, 1.2)), ((3.9, 1.2), (5.1, 1.2)),
     ((5.4, 1.2), (6.6, 1.2)), ((2.4, 1.8), (6.6, 1.8)), ((4.5, 1.8), (4.5, 5)), ((3, 0), (3, -1.6), (3.9, -1.6)),
     ((5.1, -1.6), (6, -1.6), (6, 0)), ((5.1, -2.3), (5.1, -0.9))),
    {"1": (4.5, 5), "2": (9, 0), "3": (0, 0)},
    filled=(((3.9, -2.3), (3.9, -0.9), (5.1, -1.6)),),
    words=(((0.6, -0.8), "D"), ((7.8, -0.8), "S"), ((5.0, 4.4), "G")),
)  # fmt: skip

TWO_PINS = {
    "resistor": RESISTOR, "capacitor": CAPACITOR, "fuse": FUSE, "switch": SWITCH, "button": BUTTON,
    "beeper": BEEPER, "diode": SUPPRESSOR, "led": LED, "cells": CELLS,
}  # fmt: skip


def amplifier(plus: str, minus: str, out: str, plus_on_top: bool) -> Symbol:
    """One amplifier of a package, by its pin numbers; inputs at (0, 0) and (0, 4), output at (8, 2)."""
    top, bottom = ("+", "-") if plus_on_top else ("-", "+")
    upper, lower = (plus, minus) if plus_on_top else (minus, plus)
    return Symbol(
        (
            ((0, 0), (1.5, 0)),
            ((0, 4), (1.5, 4)),
            ((1.5, -1.5), (1.5, 5.5), (7, 2), (1.5, -1.5)),
            ((7, 2), (8, 2)),
        ),
        {upper: (0, 0), lower: (0, 4), out: (8, 2)},
        words=(
            ((2.1, 0.6), top),
            ((2.1, 4.6), bottom),
            ((0.2, -0.4), upper),
            ((0.2, 3.6), lower),
            ((7.2, 1.4), out),
        ),
    )


def box(
    sides: tuple[tuple[tuple[str, str], ...], tuple[tuple[str, str], ...]], width: float, pitch: float
) -> Symbol:
    """A box with (number, name) pins down its left and right side, pins 2 units outside it."""
    left, right = sides
    height = pitch * max(len(left), len(right))
    outline = ((2, -pitch / 2), (width - 2, -pitch / 2), (width - 2, height - pitch / 2), (2, height - pitch / 2),
               (2, -pitch / 2))  # fmt: skip
    strokes: list[tuple[Point, ...]] = [outline]
    places: dict[str, Point] = {}
    words: list[tuple[Point, str]] = []
    for row, (number, name) in enumerate(left):
        places[number] = (0, row * pitch)
        strokes.append(((0, row * pitch), (2, row * pitch)))
        words.append(((2.4, row * pitch + 0.5), f"{number} {name}"))
    for row, (number, name) in enumerate(right):
        places[number] = (width, row * pitch)
        strokes.append(((width - 2, row * pitch), (width, row * pitch)))
        words.append(((width - 2.4, row * pitch + 0.5), f"{name} {number}"))
    return Symbol(tuple(strokes), places, words=tuple(words))
