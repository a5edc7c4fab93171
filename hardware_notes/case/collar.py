"""The collar: tube, flange for the felt rim, and the bayonet's socket. Printed on its flange."""

from build123d import Part, Pos, Rot

from hardware_notes.case import dimensions as d
from hardware_notes.case.shapes import ring, rod

FRONT_Z = d.RIM_PRESSED
LENGTH = d.SEAT_Z - FRONT_Z


def _body() -> Part:
    """The outside: flange, tube, and the socket that grows out of it at a slope that prints."""
    flare = (d.SOCKET_OUTER_RADIUS - d.TUBE_OUTER_RADIUS) * d.SLOPE
    socket = LENGTH - d.SOCKET
    return ring(
        [
            (d.TUBE_RADIUS, 0.0),
            (d.RIM_OUTER_RADIUS, 0.0),
            (d.RIM_OUTER_RADIUS, d.FLANGE),
            (d.TUBE_OUTER_RADIUS, d.FLANGE + (d.RIM_OUTER_RADIUS - d.TUBE_OUTER_RADIUS)),
            (d.TUBE_OUTER_RADIUS, socket - flare),
            (d.SOCKET_OUTER_RADIUS, socket),
            (d.SOCKET_OUTER_RADIUS, LENGTH),
            (d.TUBE_RADIUS, LENGTH),
        ]
    )


def _leg(degrees: float, start_deg: float) -> Part:
    """What to cut for the groove that the lug turns in. Its roof is the sloping face that holds the lug."""
    inner, depth = d.TUBE_RADIUS - 1.0, d.GROOVE_RADIUS - d.TUBE_RADIUS
    floor = LENGTH - d.LUG_HIGH - d.GROOVE_AXIAL_GAP
    roof_inner = LENGTH - d.LUG_LOW + d.GROOVE_AXIAL_GAP
    roof_outer = roof_inner - depth * d.SLOPE
    points = [
        (inner, floor),
        (d.GROOVE_RADIUS, floor),
        (d.GROOVE_RADIUS, roof_outer),
        (d.TUBE_RADIUS, roof_inner),
        (inner, roof_inner),
    ]
    return ring(points, degrees, start_deg)


def _entry(degrees: float, start_deg: float) -> Part:
    """What to cut for the slot that the lug goes in by, open at the seat."""
    inner, floor = d.TUBE_RADIUS - 1.0, LENGTH - d.LUG_HIGH - d.GROOVE_AXIAL_GAP
    top = LENGTH + 1.0
    return ring(
        [(inner, floor), (d.GROOVE_RADIUS, floor), (d.GROOVE_RADIUS, top), (inner, top)], degrees, start_deg
    )


def detents() -> list[Part]:
    """The bumps that a lug snaps over at the end of its turn, one in each groove."""
    floor = LENGTH - d.LUG_HIGH - d.GROOVE_AXIAL_GAP
    tip = d.SPIGOT_RADIUS + d.LUG_REACH - d.DETENT_BITE
    behind_deg = d.TURN_DEG - d.LUG_DEG / 2 - 3.5
    bump = Pos(tip + d.DETENT_RADIUS, 0, floor - 0.5) * rod(d.DETENT_RADIUS, d.LUG_HIGH - d.LUG_LOW)
    return [Rot(0, 0, 360.0 / d.LUGS * lug + behind_deg) * bump for lug in range(d.LUGS)]


def collar(snap: bool = True) -> Part:
    """The collar, its front flange at z = 0. snap: with the bumps that hold the turned lug."""
    part = _body()
    slack_deg = 1.5
    half = d.LUG_DEG / 2 + slack_deg
    for lug in range(d.LUGS):
        at_deg = 360.0 / d.LUGS * lug
        part -= _entry(2 * half, at_deg - half)
        part -= _leg(2 * half + d.TURN_DEG, at_deg - half)
    for bump in detents() if snap else ():
        part += bump
    return part
