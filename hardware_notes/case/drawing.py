"""Line drawings of solids as SVG: seen from a corner with hidden lines left out, or cut by a plane.

A drawing is small and plain: paths, labels with leaders, a scale bar. Coordinates are mm.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from html import escape

from build123d import Compound, Edge, Face, GeomType, Part, Plane, Vector, section

LINE = "#222"
FONT = 5.0
LETTER_WIDE = 0.6
# Lines of a curve are about this long.
CHORD_MM, CURVE_STEPS_MOST = 2.5, 64
Point = tuple[float, float]


@dataclass(frozen=True)
class View:
    """Where the eye is: a direction from the looked-at point, and which way is up."""

    towards_eye: tuple[float, float, float] = (-0.75, 0.85, 1.0)
    up: tuple[float, float, float] = (0.0, 1.0, 0.0)

    def plane(self) -> Plane:
        """The picture's plane through the origin."""
        depth = Vector(*self.towards_eye).normalized()
        return Plane(origin=(0, 0, 0), x_dir=Vector(*self.up).cross(depth), z_dir=depth)

    def flat(self, place: Vector) -> Point:
        """Where a place of the probe lies on the picture."""
        local = self.plane().to_local_coords(place)
        return local.X, local.Y


@dataclass
class Sheet:
    """A picture in the making: closed shapes, lines and labels in mm, y up."""

    title: str
    shapes: list[tuple[str, str]] = field(default_factory=list)
    words: list[tuple[Point, Point, str]] = field(default_factory=list)
    points: list[Point] = field(default_factory=list)

    def line(self, points: Sequence[Point], width: float = 0.35) -> None:
        """Add a line through points."""
        self.points.extend(points)
        self.shapes.append((_path(points), f'fill="none" stroke="{LINE}" stroke-width="{width}"'))

    def area(self, outlines: Sequence[Sequence[Point]], colour: str) -> None:
        """Add an area with its holes."""
        for outline in outlines:
            self.points.extend(outline)
        path = " ".join(_path(outline) + "Z" for outline in outlines)
        self.shapes.append((path, f'fill="{colour}" fill-rule="evenodd" stroke="{LINE}" stroke-width="0.25"'))

    def label(self, at: Point, text_at: Point, text: str) -> None:
        """Add words beside the picture with a leader to a place on it."""
        self.words.append((at, text_at, text))
        reach = len(text) * FONT * LETTER_WIDE + 3.0
        side = 1.0 if text_at[0] >= at[0] else -1.0
        x, y = text_at
        self.points.extend([text_at, (x + side * reach, y + FONT), (x, y - FONT)])

    def svg(self, made_from: str) -> str:
        """The picture. made_from: the digest of what it was drawn from."""
        left, right = min(x for x, _ in self.points) - 4, max(x for x, _ in self.points) + 4
        low, high = min(y for _, y in self.points) - 14, max(y for _, y in self.points) + 4
        body = [f'<path d="{path}" {style}/>' for path, style in self.shapes]
        body += [_label(*entry) for entry in self.words]
        body.append(_scale_bar(left + 4, low + 5))
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{left:.1f} {-high:.1f} {right - left:.1f} '
            f'{high - low:.1f}" width="{(right - left) * 3:.0f}" font-family="sans-serif" font-size="{FONT}">\n'
            f"<title>{escape(self.title)}</title>\n<desc>{made_from}</desc>\n"
            f'<rect x="{left:.1f}" y="{-high:.1f}" width="100%" height="100%" fill="white"/>\n'
            + "\n".join(body)
            + "\n</svg>\n"
        )


def _path(points: Sequence[Point]) -> str:
    places = [f"{x:.2f} {-y:.2f}" for x, y in points]
    return "M" + "L".join(places)


def _label(at: Point, text_at: Point, text: str) -> str:
    anchor = "start" if text_at[0] >= at[0] else "end"
    x, y = text_at[0] + (1.0 if anchor == "start" else -1.0), -text_at[1] + FONT / 3
    return (
        f'<path d="{_path([at, text_at])}" fill="none" stroke="#c33" stroke-width="0.3"/>'
        f'<circle cx="{at[0]:.2f}" cy="{-at[1]:.2f}" r="0.7" fill="#c33"/>'
        f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}">{escape(text)}</text>'
    )


def _scale_bar(x: float, y: float) -> str:
    return (
        f'<path d="{_path([(x, y + 1.5), (x, y), (x + 50, y), (x + 50, y + 1.5)])}" fill="none" stroke="#666" '
        f'stroke-width="0.4"/><text x="{x + 52}" y="{-y}" fill="#666" font-size="4">50 mm</text>'
    )


def _along(edge: Edge) -> list[Vector]:
    straight = edge.geom_type == GeomType.LINE
    steps = 1 if straight else min(CURVE_STEPS_MOST, 6 + int(edge.length / CHORD_MM))
    return [edge.position_at(step / steps) for step in range(steps + 1)]


def draw_seen(sheet: Sheet, parts: Sequence[Part], view: View) -> None:
    """Add what is seen of parts, hidden lines left out."""
    eye = Vector(*view.towards_eye).normalized() * 2000.0
    visible, _ = Compound(children=list(parts)).project_to_viewport(
        tuple(eye), viewport_up=view.up, look_at=(0.0, 0.0, 0.0)
    )
    for edge in visible:
        sheet.line([(place.X, place.Y) for place in _along(edge)])


def _outline(wire) -> list[Point]:
    points: list[Point] = []
    for edge in wire.order_edges():
        points.extend((place.X, place.Y) for place in _along(edge))
    return points


def draw_cut(sheet: Sheet, part: Part, plane: Plane, colour: str) -> None:
    """Add what a plane cuts of a part, in the plane's own axes."""
    cut = section(part, section_by=plane)
    for face in cut.faces() if cut is not None else ():
        flat: Face = plane.to_local_coords(face)
        sheet.area([_outline(flat.outer_wire()), *(_outline(wire) for wire in flat.inner_wires())], colour)
