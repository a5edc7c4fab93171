"""The nose: the disc that the collar rests on, the spigot with its lugs, the microphone's seat. Printed on its back."""

from build123d import Align, Box, Part, Pos

from hardware_notes.case import dimensions as d
from hardware_notes.case.shapes import blind_hole, ring, rod


def _lug(at_deg: float) -> Part:
    inner, outer = d.SPIGOT_RADIUS - 1.0, d.SPIGOT_RADIUS + d.LUG_REACH
    low, high = d.NOSE_DISC + d.LUG_LOW, d.NOSE_DISC + d.LUG_HIGH
    points = [
        (inner, low),
        (d.SPIGOT_RADIUS, low),
        (outer, low + d.LUG_REACH * d.SLOPE),
        (outer, high),
        (inner, high),
    ]
    return ring(points, d.LUG_DEG, at_deg - d.LUG_DEG / 2)


def _microphone_seat() -> Part:
    """What to cut for the microphone's board on its foam, flush with the spigot's end."""
    wide = d.MICROPHONE_BOARD + 2 * d.GAP_PLACED
    deep = d.MICROPHONE_BOARD_THICK + d.MICROPHONE_FOAM
    top = d.NOSE_DISC + d.SPIGOT
    align = (Align.CENTER, Align.CENTER, Align.MIN)
    return Pos(0, 0, top - deep) * Box(wide, wide, deep + 1.0, align=align)


def screw_places() -> list[tuple[float, float]]:
    """(x, y) of the four screws between shell and nose, from the nose's axis."""
    return [(sx * d.NOSE_SCREW_X, sy * d.NOSE_SCREW_Y) for sx in (-1, 1) for sy in (-1, 1)]


def nose() -> Part:
    """The nose, its back at z = 0 and the spigot up."""
    top = d.NOSE_DISC + d.SPIGOT
    part = rod(d.NOSE_RADIUS, d.NOSE_DISC) + rod(d.SPIGOT_RADIUS, top)
    gap = d.END_Z - d.PLUG_BACK_Z
    edge = d.SPIGOT_RADIUS
    part += ring([(edge - d.PLUG_RING, top), (edge, top), (edge, top + gap), (edge - d.PLUG_RING, top + gap)])
    for lug in range(d.LUGS):
        part += _lug(360.0 / d.LUGS * lug)
    part -= _microphone_seat()
    part -= rod(d.CABLE_HOLE_RADIUS, top)
    for x, y in screw_places():
        part -= Pos(x, y, 0) * blind_hole(d.INSERT_RADIUS["M3"], d.INSERT_DEEP["M3"])
    return part
