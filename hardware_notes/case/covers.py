"""The lid with the bar's window and the buttons' guards, the cell door, the buttons' caps, the USB slot's stopper.

Lid and door are printed on their inner face, the caps on their top, the stopper on its lip.
"""

from build123d import Align, Axis, Box, Part, Pos, fillet

from hardware_notes.case import dimensions as d
from hardware_notes.case.shapes import UPWARDS, countersunk_hole, ring, rod
from hardware_notes.case.shell import LENGTH, RIGHT, along, columns, usb_floor_y

UP = (Align.CENTER, Align.MIN, Align.MIN)
LID_END = along(d.PARTITION_Z) + d.PARTITION / 2 - d.COVER_GAP / 2
DOOR_START = LID_END + d.COVER_GAP


def _plate(start: float, end: float, rounded: int) -> Part:
    """A plate between two places of the shell's length, the corners of one end rounded. rounded: 0 nose, -1 rear."""
    plate = Box(d.OUTER_X, end - start, d.PLATE, align=UP)
    corners = plate.edges().filter_by(Axis.Z).group_by(Axis.Y)[rounded]
    return Pos(0, start, 0) * fillet(corners, d.CORNER)


def _bar() -> tuple[Part, Part]:
    """(what to add, what to cut) for the bar: the hood on three sides, the slot and the window's recess."""
    place = Pos(0, along(d.BAR_Z), 0)
    outer = Box(
        d.WINDOW_X + 2 * d.HOOD_WALL, d.WINDOW_Z + 2 * d.HOOD_WALL, d.PLATE + d.HOOD_HIGH, align=UPWARDS
    )
    inner = Pos(0, d.HOOD_WALL, 0) * Box(d.WINDOW_X, d.WINDOW_Z + 2 * d.HOOD_WALL, 40, align=UPWARDS)
    slot = Box(d.BAR_SLOT_X, d.BAR_SLOT_Z, 40)
    recess = Pos(0, 0, d.PLATE - d.WINDOW_THICK) * Box(d.WINDOW_X, d.WINDOW_Z, 40, align=UPWARDS)
    return place * (outer - inner), place * (slot + recess)


def _guard(x: float) -> Part:
    """The ring around a button; a gap towards each end lets water out."""
    wall = ring(
        [
            (d.GUARD_RADIUS, 0.0),
            (d.GUARD_RADIUS + d.GUARD_WALL, 0.0),
            (d.GUARD_RADIUS + d.GUARD_WALL, d.PLATE + d.GUARD_HIGH),
            (d.GUARD_RADIUS, d.PLATE + d.GUARD_HIGH),
        ]
    )
    drain = Pos(0, 0, d.PLATE) * Box(5.0, 40.0, d.GUARD_HIGH + 1.0, align=UPWARDS)
    return Pos(x, along(d.BUTTON_Z), 0) * (wall - drain)


def _marks() -> list[Part]:
    """What the thumb and the eye go by: a ridge between rear and front LEDs, a ridge behind READ, the right button."""
    middle = Pos(0, along(d.BAR_Z) + d.WINDOW_Z / 2 + 1.0, d.PLATE) * Box(1.6, 5.0, 1.2, align=UP)
    read = Pos(RIGHT * d.BUTTON_X, along(d.BUTTON_Z) - d.GUARD_RADIUS - 6.0, d.PLATE) * Box(
        10.0, 1.6, 1.2, align=UP
    )
    return [middle, read]


def lid() -> Part:
    """The lid, its inner face on z = 0."""
    hood, window = _bar()
    part = _plate(0.0, LID_END, 0) + hood
    for x in (-d.BUTTON_X, d.BUTTON_X):
        part += _guard(x)
        part -= Pos(x, along(d.BUTTON_Z), -1) * rod(d.BUTTON_HOLE_RADIUS, 40)
    for mark in _marks():
        part += mark
    part -= window
    for x, z, size in columns():
        if size == "M3":
            part -= Pos(x, along(z), 0) * countersunk_hole(size, d.PLATE)
    return part


def door() -> Part:
    """The cell door, its inner face on z = 0; a coin turns its two screws."""
    part = _plate(DOOR_START, LENGTH, -1)
    for x, z, size in columns():
        if size == "M4":
            part -= Pos(x, along(z), 0) * countersunk_hole(size, d.PLATE)
    return part


def cap() -> Part:
    """A button's cap for a glove, its top on z = 0, with the hole for the button's own actuator."""
    body = rod(d.CAP_RADIUS, d.CAP_HIGH)
    return body - Pos(0, 0, d.CAP_HIGH - d.ACTUATOR_HIGH) * rod(d.ACTUATOR_RADIUS + 0.1, d.ACTUATOR_HIGH + 1)


def stopper() -> Part:
    """What closes the USB slot outside the workshop, its lip on z = 0. Printed soft or hard."""
    wide, high = d.USB_PORT_WIDE - 2 * d.STOPPER_GAP, d.INNER_Y - usb_floor_y() - 2 * d.STOPPER_GAP
    lip = Box(wide + 2 * d.STOPPER_LIP, high + d.STOPPER_LIP, d.STOPPER_LIP_THICK, align=UP)
    return Pos(0, -d.STOPPER_LIP, 0) * lip + Box(wide, high, d.STOPPER_LIP_THICK + d.STOPPER_DEEP, align=UP)
