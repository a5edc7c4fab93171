"""The shell: a tub for boards, buttons and cells, open upwards. Printed on its floor.

Built with its floor on z = 0, its nose end at y = 0, its length along y, and x to the technician's left.
"""

from build123d import Align, Axis, Box, Location, Part, Plane, Pos, Rot, chamfer, fillet

from hardware_notes.case import dimensions as d
from hardware_notes.case.nose import screw_places
from hardware_notes.case.shapes import drop, port, rod

RIGHT, LEFT = -1, 1
WALL_CUT = d.WALL + 1.0
UP = (Align.CENTER, Align.MIN, Align.MIN)
LENGTH = d.REAR_Z - d.NOSE_BACK_Z
HIGH = d.FLOOR + d.INNER_Y


def along(z: float) -> float:
    """Where a place of the probe's length lies on the shell."""
    return z - d.NOSE_BACK_Z


def _tub() -> Part:
    outside = Box(d.OUTER_X, LENGTH, HIGH, align=UP)
    outside = fillet(outside.edges().filter_by(Axis.Z), d.CORNER)
    bottom = outside.faces().sort_by(Axis.Z)[0]
    outside = chamfer(bottom.edges(), 1.0, 1.0 * d.SLOPE, reference=bottom)
    for start_z, end_z in ((d.FRONT_INNER_Z, d.PARTITION_Z), (d.BAY_Z, d.REAR_INNER_Z)):
        room = Box(d.INNER_X, end_z - start_z, d.INNER_Y + 1.0, align=UP)
        outside -= Pos(0, along(start_z), d.FLOOR) * fillet(room.edges().filter_by(Axis.Z), 2.0)
    return outside


def _column(x: float, z: float, size: str) -> tuple[Part, Part]:
    """(post from the floor to the rim beside the wall, the insert's hole to cut in its top)."""
    wide = d.COLUMN[size]
    post = Pos(x, along(z), 0) * Box(wide, wide, HIGH, align=(Align.CENTER, Align.CENTER, Align.MIN))
    deep = d.INSERT_DEEP[size]
    return post, Pos(x, along(z), HIGH - deep) * rod(d.INSERT_RADIUS[size], deep + 1.0)


def columns() -> list[tuple[float, float, str]]:
    """(x, z, screw) of every post that a cover is screwed to."""
    places = [(z, "M3") for z in d.LID_SCREW_Z] + [(d.DOOR_SCREW_Z, "M4")]
    return [(side * (d.INNER_X - d.COLUMN[size]) / 2, z, size) for z, size in places for side in (-1, 1)]


def board_posts() -> list[tuple[float, float]]:
    """(x, z) of the four posts that carry the boards."""
    middle_z = d.BOARDS_Z + d.BOARD_Z / 2
    return [
        (sx * d.BOARD_SCREW_X / 2, middle_z + sz * d.BOARD_SCREW_Z / 2) for sx in (-1, 1) for sz in (-1, 1)
    ]


def _front_holes() -> list[Part]:
    """What to cut in the front wall: the cable's hole and the nose's four screws."""
    to_wall = Pos(0, WALL_CUT, d.FLOOR + d.NOSE_Y) * Rot(90, 0, 0)
    holes = [to_wall * drop(d.CABLE_HOLE_RADIUS, 2 * WALL_CUT)]
    return holes + [
        to_wall * Pos(x, y, 0) * drop(d.SCREW_RADIUS["M3"], 2 * WALL_CUT) for x, y in screw_places()
    ]


def _side(side: int, z: float, y: float) -> Location:
    """Where to put what is cut along z so that it cuts a side wall. side: RIGHT or LEFT."""
    inside = (side * (d.INNER_X / 2 - 1.0), along(z), d.FLOOR + y)
    return Location(Plane(origin=inside, x_dir=(0, side, 0), z_dir=(side, 0, 0)))


def usb_floor_y() -> float:
    """Where the USB slot begins; it ends at the rim."""
    return d.USB_Y - d.USB_PORT_BELOW


def _side_holes() -> list[Part]:
    usb_high = d.INNER_Y - usb_floor_y() + 1.0
    usb = Box(d.USB_PORT_WIDE, usb_high, 6.0, align=(Align.CENTER, Align.MIN, Align.MIN))
    cuts = [
        _side(RIGHT, d.USB_PORT_Z, usb_floor_y()) * usb,
        _side(RIGHT, d.BUTTON_Z, d.SWITCH_Y) * drop(d.SWITCH_RADIUS, 6.0),
    ]
    first_z = d.BEEPER_Z - (d.BEEPER_SLOTS - 1) * d.BEEPER_SLOT_WIDE
    for slot in range(d.BEEPER_SLOTS):
        place = _side(LEFT, first_z + 2 * slot * d.BEEPER_SLOT_WIDE, d.SWITCH_Y - d.BEEPER_SLOT_HIGH / 2)
        cuts.append(place * port(d.BEEPER_SLOT_WIDE, d.BEEPER_SLOT_HIGH, 6.0))
    return cuts


def _wire_notch() -> Part:
    """What to cut for the cells' wires over the partition, sealed with silicone."""
    return Pos(0, along(d.PARTITION_Z) - 1.0, HIGH - 4.0) * Box(6.0, d.PARTITION + 2.0, 5.0, align=UP)


def shell() -> Part:
    """The shell, its floor on z = 0."""
    part = _tub()
    holes = []
    for x, z, size in columns():
        post, hole = _column(x, z, size)
        part += post
        holes.append(hole)
    for x, z in board_posts():
        part += Pos(x, along(z), 0) * rod(3.4, d.FLOOR + d.BOARD_STANDOFF)
        deep = d.INSERT_DEEP["M2.5"]
        holes.append(
            Pos(x, along(z), d.FLOOR + d.BOARD_STANDOFF - deep) * rod(d.INSERT_RADIUS["M2.5"], deep + 1.0)
        )
    for hole in [*holes, *_front_holes(), *_side_holes(), _wire_notch()]:
        part -= hole
    return part
