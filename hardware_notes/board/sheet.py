"""A sheet of the schematic, A4 across, as SVG that can be read back.

Wires are polylines of class `wire`; a pin is a small circle of class `pin` whose title is `ref.number`; the name of a
net stands at a circle of class `tag` whose title is the name; a joint is a circle of class `dot`; a pin left free has
a circle of class `free`. The reader takes places and these marks, and nothing of how the sheet was made.
"""

from dataclasses import dataclass, field
from html import escape

from curbtick.hardware import nets, pins

from hardware_notes.board import symbols
from hardware_notes.board.symbols import Point, Symbol

UNIT_MM = 2.0
WIDTH_MM, HEIGHT_MM = 297.0, 210.0
_STYLE = (
    "text{font-family:sans-serif;font-size:2.6px} .value{fill:#555} .name{font-weight:bold} .tagname{fill:#06c}"
    " .word{font-size:2px} .title{font-size:5px;font-weight:bold} .symbol{fill:none;stroke:#000;stroke-width:.35}"
    " .solid{fill:#000} .wire{fill:none;stroke:#084;stroke-width:.35} .dot{fill:#084} .pin,.free{fill:none;stroke:none}"
    " .tag{fill:#06c} .mark{stroke:#06c;stroke-width:.35;fill:none}"
)
_TAG_SHIFT = {
    "r": (1.0, 0.4, "start"),
    "l": (-1.0, 0.4, "end"),
    "d": (0.0, 1.9, "middle"),
    "u": (0.0, -0.9, "middle"),
}


def _mm(value: float) -> str:
    return f"{value * UNIT_MM:g}"


def _points(points: tuple[Point, ...]) -> str:
    return " ".join(f"{_mm(x)},{_mm(y)}" for x, y in points)


def _circle(place: Point, kind: str, radius_mm: float, title: str = "") -> str:
    inner = f"<title>{escape(title)}</title>" if title else ""
    return (
        f'<circle class="{kind}" cx="{_mm(place[0])}" cy="{_mm(place[1])}" r="{radius_mm:g}">{inner}</circle>'
    )


def _text(place: Point, words: str, kind: str, anchor: str = "start") -> str:
    x, y = place
    return f'<text class="{kind}" x="{_mm(x)}" y="{_mm(y)}" text-anchor="{anchor}">{escape(words)}</text>'


@dataclass
class Sheet:
    """A sheet that is being drawn. name: of its file; title: printed on it."""

    name: str
    title: str
    lines: list[str] = field(default_factory=list)

    def part(self, ref: str, place: Point, direction: str = "r") -> None:
        """Draw a two-pin part, a clamp or the P-FET with its first pin (clamp: middle, P-FET: drain) at a place."""
        part = nets.instance(ref)
        shapes = {"clamp": symbols.CLAMP, "p-fet": symbols.P_FET}
        symbol = shapes.get(part.kind) or symbols.TWO_PINS[part.kind]
        self.symbol(ref, symbol.turned(direction, place))
        self._name(ref, part.shown, place, direction, part.kind)

    def amplifier(self, stage: str, place: Point, plus_on_top: bool = False) -> None:
        """Draw the amplifier of a stage with its upper input at a place."""
        ref, letter = nets.STAGES[stage]
        symbol = symbols.amplifier(*pins.QUAD_UNITS[letter], plus_on_top)
        self.symbol(ref, symbol.turned("r", place))
        self.lines.append(_text((place[0] + 2.9, place[1] + 2.5), f"{ref}{letter}", "name"))
        self.lines.append(_text((place[0] + 4.4, place[1] - 0.6), stage, "value"))

    def symbol(self, ref: str, symbol: Symbol) -> None:
        """Draw strokes and pins of a symbol that is in its place."""
        self.lines += [f'<polyline class="symbol" points="{_points(stroke)}"/>' for stroke in symbol.strokes]
        self.lines += [f'<polygon class="solid" points="{_points(shape)}"/>' for shape in symbol.filled]
        self.lines += [_circle(centre, "symbol", radius * UNIT_MM) for centre, radius in symbol.circles]
        for place, word in symbol.words:
            self.lines.append(
                _text(place, word, "word", "end" if _at_right_end(symbol, place, word) else "start")
            )
        self.lines += [_circle(at, "pin", 0.4, f"{ref}.{number}") for number, at in symbol.pins.items()]

    def wire(self, *points: Point) -> None:
        """Draw a wire through points."""
        self.lines.append(f'<polyline class="wire" points="{_points(points)}"/>')

    def dot(self, *places: Point) -> None:
        """Mark joints."""
        self.lines += [_circle(place, "dot", 0.7) for place in places]

    def tag(self, net: str, place: Point, direction: str) -> None:
        """Name the net at a place; direction: where the name stands."""
        dx, dy, anchor = _TAG_SHIFT[direction]
        x, y = place
        self.lines.append(_circle(place, "tag", 0.5, net))
        if net in nets.GROUNDS and direction == "d":
            bars = (((-1.2, 0), (1.2, 0)), ((-0.8, 0.4), (0.8, 0.4)), ((-0.4, 0.8), (0.4, 0.8)))
            for bar in bars:
                self._mark(place, bar)
            dy = 2.3
        self.lines.append(_text((x + dx, y + dy), net, "tagname", anchor))

    def free(self, place: Point) -> None:
        """Mark a pin that is left free on purpose."""
        self.lines.append(_circle(place, "free", 0.4))
        for cross in (((-0.5, -0.5), (0.5, 0.5)), ((-0.5, 0.5), (0.5, -0.5))):
            self._mark(place, cross)

    def _mark(self, place: Point, stroke: tuple[Point, ...]) -> None:
        moved = tuple((place[0] + x, place[1] + y) for x, y in stroke)
        self.lines.append(f'<polyline class="mark" points="{_points(moved)}"/>')

    def note(self, place: Point, words: str) -> None:
        """Write a remark."""
        self.lines.append(_text(place, words, "value"))

    def _name(self, ref: str, value: str, place: Point, direction: str, kind: str) -> None:
        x, y = place
        if kind == "clamp":
            self.lines += [_text((x + 5.6, y - 2.2), ref, "name"), _text((x + 5.6, y - 0.8), value, "value")]
        elif kind == "p-fet":
            self.lines += [_text((x + 3, y - 3.6), ref, "name"), _text((x + 5.4, y - 3.6), value, "value")]
        elif direction in "rl":
            middle = x + (3 if direction == "r" else -3)
            self.lines.append(_text((middle, y - 2.0), ref, "name", "middle"))
            self.lines.append(_text((middle, y + 3.0), value, "value", "middle"))
        else:
            middle = y + (3 if direction == "d" else -3)
            self.lines += [
                _text((x + 1.9, middle), ref, "name"),
                _text((x + 1.9, middle + 1.4), value, "value"),
            ]

    def svg(self) -> str:
        """The sheet as SVG."""
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH_MM:g}mm" height="{HEIGHT_MM:g}mm" '
            f'viewBox="0 0 {WIDTH_MM:g} {HEIGHT_MM:g}"><style>{_STYLE}</style>\n'
            f'<rect x="5" y="5" width="{WIDTH_MM - 10:g}" height="{HEIGHT_MM - 10:g}" class="symbol"/>\n'
        )
        title = f'<text class="title" x="10" y="14">{escape(self.title)}</text>\n'
        return head + title + "\n".join(self.lines) + "\n</svg>\n"


def _at_right_end(symbol: Symbol, place: Point, word: str) -> bool:
    """Whether a box's word belongs to its right side: it ends with its pin's number."""
    numbers = [
        number for number, (x, _) in symbol.pins.items() if x > place[0] and word.endswith(f" {number}")
    ]
    return bool(numbers)
