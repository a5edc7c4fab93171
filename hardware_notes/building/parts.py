"""Every part that a step may name, with its cost class: electrical ones by the parts list, mechanical ones here."""

from dataclasses import dataclass

from curbtick.hardware import parts

from hardware_notes.case import dimensions as d

# Cost classes, in euro or dollars for all pieces of a line (from memory, small quantities).
CLASSES = {"A": (0.0, 2.0), "B": (2.0, 5.0), "C": (5.0, 15.0), "D": (15.0, 40.0)}


@dataclass(frozen=True)
class Mechanical:
    """A mechanical part that is bought or cut. cost: a class of CLASSES."""

    name: str
    count: str
    what: str
    instead: str
    cost: str


WINDOW = f"{d.WINDOW_X - 0.6:.0f} x {d.WINDOW_Z - 0.6:.1f} x {d.WINDOW_THICK:g} mm"
BOARD = f"{d.BOARD_Z:g} x {d.BOARD_X:g} mm, {d.BOARD_HOLES_Z} x {d.BOARD_HOLES_X} plated holes"
SEAL = f"closed cell, {d.GASKET + 1:g} mm thick, {d.WALL:g} mm wide: the covers' seal"

MECHANICAL = (
    Mechanical(
        "filament", "250 g", f"{d.MATERIAL}, black, matt", "PETG, black; no PLA: it softens in a hot cab", "C"
    ),
    Mechanical("M2.5 inserts", "4", "brass, pressed in hot, 4 mm long", "self-tapping screws of 2.5 mm", "A"),
    Mechanical("M3 inserts", "8", "brass, pressed in hot, 5.7 mm long", "self-tapping screws of 3 mm", "A"),
    Mechanical("M4 inserts", "2", "brass, pressed in hot, 8 mm long", "none: the door is opened often", "A"),
    Mechanical(
        "M2.5 spacers and screws", "4 + 8", f"{d.BOARD_SPACER:g} mm, inner and outer thread", "nylon", "B"
    ),
    Mechanical(
        "M3 screws", "4 + 4", "x 10 countersunk for the lid; x 8, washer, for the nose", "any flush head", "A"
    ),
    Mechanical(
        "M4 screws", "2", "countersunk x 12, slotted: a coin turns them", "knurled, with a washer", "A"
    ),
    Mechanical("window", "1", f"clear polycarbonate, {WINDOW}", "acrylic", "A"),
    Mechanical("foam tape", "0.6 m", SEAL, "silicone bead", "A"),
    Mechanical(
        "soft foam", "1", f"open cell, {d.MICROPHONE_FOAM + 0.5:g} mm: around the microphone", "felt", "A"
    ),
    Mechanical("mesh", "2", "water-repellent acoustic mesh: microphone, beeper's slots", "none", "B"),
    Mechanical("silicone", "-", "neutral cure: window, wires through the partition", "hot glue", "B"),
    Mechanical("perfboard", "2", BOARD, "any of this size", "A"),
)

# What the parts list calls its lines, and what each costs.
ELECTRICAL_COST = {
    "microphone": "B", "amplifier, four in a package": "C", "P-FET": "A", "clamp": "A", "suppressor": "A", "fuse": "A",
    "power switch": "A", "board connectors": "A", "controller": "B", "LEDs": "B", "buttons": "C", "beeper": "A",
    "cells": "C", "adapters": "B", "microphone's board": "B", "cable": "A", "wire": "A", "felt": "B",
    "solder, flux, sleeves": "B", "resistors and capacitors": "C",
}  # fmt: skip
# The parts list's second source with lines of its own: bought in place of the first, not besides.
INSTEAD = {"second microphone"}


def electrical() -> set[str]:
    """The lines of the parts list that steps name."""
    named = {part.name for part in parts.PARTS} | {what for what, *_ in parts.OTHERS}
    return named - INSTEAD | {"resistors and capacitors"}


def cost_classes() -> dict[str, str]:
    """Each part that a step may name, with its cost class."""
    return {**ELECTRICAL_COST, **{part.name: part.cost for part in MECHANICAL}, **dict.fromkeys(d.LIES, "A")}


def cost_range() -> tuple[float, float]:
    """What all bought parts cost together, at least and at most. The printed ones are in the filament."""
    bought = [letter for name, letter in cost_classes().items() if name not in d.LIES]
    return sum(CLASSES[letter][0] for letter in bought), sum(CLASSES[letter][1] for letter in bought)
