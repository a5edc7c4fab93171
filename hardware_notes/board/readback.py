"""Read the schematic's SVG back into connectivity, from the places of its wires, pins, joints and names alone.

Two things are joined where a wire ends at a pin, at a name or at another wire's end, or where a joint sits on them.
Wires that cross without a joint are apart. A pin or a wire's end that lies on another wire without a joint is refused:
a person could read it either way.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from xml.etree import ElementTree

Point = tuple[float, float]
_SVG = "{http://www.w3.org/2000/svg}"
_EPSILON = 1e-3


class Ambiguous(ValueError):
    """A drawing that can be read in two ways."""


@dataclass
class Marks:
    """What a sheet shows: wires as point lists, pins and names by place, joints, and pins marked free."""

    wires: list[list[Point]] = field(default_factory=list)
    pins: list[tuple[Point, str]] = field(default_factory=list)
    tags: list[tuple[Point, str]] = field(default_factory=list)
    dots: list[Point] = field(default_factory=list)
    free: list[Point] = field(default_factory=list)


def _place(node: ElementTree.Element) -> Point:
    return round(float(node.attrib["cx"]), 3), round(float(node.attrib["cy"]), 3)


def marks(svg: str) -> Marks:
    """The marks of a sheet."""
    found = Marks()
    for node in ElementTree.fromstring(svg).iter():
        kind = node.attrib.get("class", "")
        title = node.findtext(f"{_SVG}title") or ""
        if kind == "wire":
            pairs = (entry.split(",") for entry in node.attrib["points"].split())
            found.wires.append([(round(float(x), 3), round(float(y), 3)) for x, y in pairs])
        elif kind == "pin":
            found.pins.append((_place(node), title))
        elif kind == "tag":
            found.tags.append((_place(node), title))
        elif kind == "dot":
            found.dots.append(_place(node))
        elif kind == "free":
            found.free.append(_place(node))
    return found


class _Groups:
    """Union-find over any hashable things."""

    def __init__(self) -> None:
        self._parent: dict[object, object] = {}

    def find(self, one: object) -> object:
        self._parent.setdefault(one, one)
        while self._parent[one] != one:
            one = self._parent[one]
        return one

    def join(self, one: object, other: object) -> None:
        self._parent[self.find(one)] = self.find(other)


def _on_segment(point: Point, first: Point, second: Point) -> bool:
    (px, py), (ax, ay), (bx, by) = point, first, second
    across = abs((bx - ax) * (py - ay) - (by - ay) * (px - ax))
    inside = (
        min(ax, bx) - _EPSILON <= px <= max(ax, bx) + _EPSILON
        and min(ay, by) - _EPSILON <= py <= max(ay, by) + _EPSILON
    )
    return across < _EPSILON and inside


def _on_wire(point: Point, wire: list[Point]) -> bool:
    return any(_on_segment(point, a, b) for a, b in zip(wire, wire[1:], strict=False))


def _check(found: Marks, name: str) -> None:
    """Refuse what can be read in two ways."""
    ends = [end for wire in found.wires for end in (wire[0], wire[-1])]
    dots = set(found.dots)
    for point in [*ends, *(place for place, _ in found.pins)]:
        for wire in found.wires:
            if point not in (wire[0], wire[-1]) and _on_wire(point, wire) and point not in dots:
                raise Ambiguous(f"sheet {name}: something ends on a wire at {point} mm without a joint")
    free = set(found.free)
    for place, pin in found.pins:
        if place in free and (place in ends or place in {at for at, _ in found.tags}):
            raise Ambiguous(f"sheet {name}: {pin} is marked free and connected")


def _sheet_groups(found: Marks, sheet: int, groups: _Groups) -> None:
    for number, wire in enumerate(found.wires):
        here = ("wire", sheet, number)
        for end in (wire[0], wire[-1]):
            groups.join(here, ("place", sheet, end))
        for dot in found.dots:
            if _on_wire(dot, wire):
                groups.join(here, ("place", sheet, dot))
    for place, pin in found.pins:
        groups.join(("pin", pin), ("place", sheet, place))
    for place, net in found.tags:
        groups.join(("net", net), ("place", sheet, place))


def connectivity(
    svgs: Iterable[tuple[str, str]],
) -> tuple[dict[frozenset[tuple[str, str]], set[str]], set[tuple[str, str]]]:
    """Read (name, svg) sheets: (joined pins -> the names that stand on them, pins marked free).

    Raises Ambiguous where a sheet can be read in two ways.
    """
    groups, every_pin, every_net, free = _Groups(), set(), set(), set()
    for sheet, (name, svg) in enumerate(svgs):
        found = marks(svg)
        _check(found, name)
        _sheet_groups(found, sheet, groups)
        every_pin |= {pin for _, pin in found.pins}
        every_net |= {net for _, net in found.tags}
        marked = set(found.free)
        free |= {pin for place, pin in found.pins if place in marked}
    members: dict[object, set[tuple[str, str]]] = {}
    for pin in every_pin - free:
        ref, number = pin.split(".")
        members.setdefault(groups.find(("pin", pin)), set()).add((ref, number))
    names = {root: {net for net in every_net if groups.find(("net", net)) == root} for root in members}
    joined = {frozenset(pins): names[root] for root, pins in members.items()}
    return joined, {(pin.split(".")[0], pin.split(".")[1]) for pin in free}
