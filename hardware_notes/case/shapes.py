"""Shapes that print without support: holes with a pointed roof, blind holes with a pointed end."""

import math

from build123d import (
    Align,
    Axis,
    BuildLine,
    BuildPart,
    BuildSketch,
    Cone,
    Cylinder,
    Part,
    Plane,
    Polyline,
    Pos,
    RegularPolygon,
    Rot,
    Vertex,
    extrude,
    loft,
    make_face,
    revolve,
)

from hardware_notes.case import dimensions as d

UPWARDS = (Align.CENTER, Align.CENTER, Align.MIN)
Points = list[tuple[float, float]]


def sheet(points: Points, plane: Plane = Plane.XY):
    """A flat face on a plane, bounded by a polygon of (first axis, second axis) points."""
    with BuildSketch(plane) as sketch:
        with BuildLine():
            Polyline(*points, close=True)
        make_face()
    return sketch.sketch


def ring(points: Points, degrees: float = 360.0, start_deg: float = 0.0) -> Part:
    """A body of revolution around z from a profile of (radius, height) points; `degrees` of it from `start_deg` on."""
    with BuildPart() as part:
        revolve(sheet(points, Plane.XZ), axis=Axis.Z, revolution_arc=degrees)
    return Rot(0, 0, start_deg) * part.part


def rod(radius: float, height: float) -> Part:
    """A cylinder that stands on the origin."""
    return Cylinder(radius, height, align=UPWARDS)


def blind_hole(radius: float, deep: float) -> Part:
    """What to cut for a hole that is printed upwards from z = 0: its end is a pyramid, so that nothing hangs."""
    corner = radius / math.cos(math.pi / 6)
    tip = loft([Pos(0, 0, deep) * RegularPolygon(corner, 6), Vertex(0, 0, deep + radius * d.SLOPE)])
    return rod(radius, deep) + tip


def countersunk_hole(size: str, thick: float) -> Part:
    """What to cut for a countersunk screw of a size in a plate from z = 0 to `thick`, its head on top."""
    hole, head = d.SCREW_RADIUS[size], d.HEAD_RADIUS[size]
    cone = head - hole
    return Pos(0, 0, -1) * rod(hole, thick + 2) + Pos(0, 0, thick - cone) * Cone(
        hole, head + 0.01, cone + 0.01, align=UPWARDS
    )


def drop(radius: float, length: float) -> Part:
    """What to cut for a round hole along z whose roof, towards +y, is pointed: a drop of 42 degrees."""
    angle = math.atan(d.SLOPE)
    across, up = radius * math.sin(angle), radius * math.cos(angle)
    roof = sheet([(-across, up), (across, up), (0.0, up + across * d.SLOPE)])
    return rod(radius, length) + extrude(roof, length)


def port(wide: float, high: float, length: float) -> Part:
    """What to cut for a hole along z, `wide` in x and centred, upright from y = 0 to `high`, with a pointed roof."""
    half = wide / 2
    outline = [(-half, 0.0), (half, 0.0), (half, high), (0.0, high + half * d.SLOPE), (-half, high)]
    return extrude(sheet(outline), length)
