"""Small drawings as inline SVG: verdict shapes, bumpers, a level against its limits, a level over time,
traces.

Every shape differs by outline and letter, not by colour alone; every drawing has a title for those who
cannot see it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from typing import NamedTuple

from curbtick_wire import names
from markupsafe import Markup

# Beside the colour: a verdict's first letter.
LETTERS = {**{verdict: verdict[0].upper() for verdict in names.VERDICTS}, "unread": "–"}
WORDS = {
    **{verdict: verdict.upper() for verdict in names.VERDICTS},
    "unread": "not read",
    "not_transmitting": "not transmitting",
}
SCALE_LOW_DB, SCALE_HIGH_DB = -60.0, 0.0
# How wide the drawings are that stand alone on their line.
WIDE = 600.0


def _outline(verdict: str, x: float, y: float, r: float) -> str:
    """The outline of a verdict: circle pass, triangle weak, square dead, diamond retry, dashed circle
    unread.
    """
    if verdict == "weak":
        points = f"{x:.1f},{y - 1.3 * r:.1f} {x + 1.35 * r:.1f},{y + 1.1 * r:.1f} {x - 1.35 * r:.1f},{y + 1.1 * r:.1f}"
        return f'<polygon class="v weak" points="{points}"/>'
    if verdict == "dead":
        return (
            f'<rect class="v dead" x="{x - r:.1f}" y="{y - r:.1f}" width="{2 * r:.1f}" height="{2 * r:.1f}"/>'
        )
    if verdict == "retry":
        k = 1.3 * r
        points = f"{x:.1f},{y - k:.1f} {x + k:.1f},{y:.1f} {x:.1f},{y + k:.1f} {x - k:.1f},{y:.1f}"
        return f'<polygon class="v retry" points="{points}"/>'
    return f'<circle class="v {verdict}" cx="{x:.1f}" cy="{y:.1f}" r="{r:.1f}"/>'


def _lettered(verdict: str, x: float, y: float, r: float) -> str:
    lowered = y + (0.32 if verdict == "weak" else 0) * r
    size = (0.9 if verdict == "weak" else 1.05) * r
    return (
        f"{_outline(verdict, x, y, r)}"
        f'<text class="l {verdict}" x="{x:.1f}" y="{lowered + 0.36 * r:.1f}" font-size="{size:.1f}">'
        f"{LETTERS[verdict]}</text>"
    )


def badge(verdict: str) -> Markup:
    """A verdict's shape and letter beside its word."""
    if verdict == "not_transmitting":
        return Markup('<span class="badge nt">not transmitting</span>')
    drawn = f'<svg class="mark" viewBox="0 0 26 26" aria-hidden="true">{_lettered(verdict, 13, 13, 9)}</svg>'
    return Markup(f'<span class="badge">{drawn}{WORDS[verdict]}</span>')


@dataclass(frozen=True)
class Dot:
    """A position on a bumper's drawing; href empty for none."""

    position: int
    verdict: str
    label: str
    href: str = ""


def bumper(name: str, dots: Sequence[Dot], silent: bool) -> Markup:
    """A bumper as seen facing it, positions left to right, each with its verdict and level."""
    width, gap = 560, 560 / max(len(dots), 1)
    words = ", ".join(f"position {dot.position} {WORDS[dot.verdict]}" for dot in dots)
    role = "group" if any(dot.href for dot in dots) else "img"
    title = f"{name.capitalize()} bumper: {'not transmitting; ' if silent else ''}{words}"
    parts = [
        f'<svg class="bumper" viewBox="0 -16 {width} 128" role="{role}" aria-label="{escape(title)}">',
        f'<text class="side" x="{width / 2:.0f}" y="-2">{name}</text>'
        '<path class="body" d="M14 30 Q16 12 44 11 Q280 3 516 11 Q544 12 546 30 L541 70 Q538 84 514 84 '
        'L46 84 Q22 84 19 70 Z"/><path class="lip" d="M30 66 Q280 58 530 66"/>',
    ]
    for index, dot in enumerate(dots):
        x = gap * (index + 0.5)
        hit = f'<rect class="hit" x="{gap * index:.0f}" y="14" width="{gap:.0f}" height="98"/>'
        drawn = hit + _lettered(dot.verdict, x, 42, 14)
        label = f'<text class="n" x="{x:.0f}" y="106">{dot.position}: {escape(dot.label)}</text>'
        spoken = escape(f"position {dot.position} {WORDS[dot.verdict]} {dot.label}")
        link = f'<a href="{escape(dot.href)}" aria-label="{spoken}">{drawn}{label}</a>'
        parts.append(link if dot.href else drawn + label)
    if silent:
        parts.append(f'<text class="nt" x="{width / 2:.0f}" y="78">NOT TRANSMITTING</text>')
    return Markup("".join(parts) + "</svg>")


def scaled(level_db: float, width: float) -> float:
    """Where a level in dBFS stands on a scale of this width; one beyond the scale stands at its end."""
    share = (min(max(level_db, SCALE_LOW_DB), SCALE_HIGH_DB) - SCALE_LOW_DB) / (SCALE_HIGH_DB - SCALE_LOW_DB)
    return share * width


def strip(level_db: float | None, pass_db: float | None, dead_db: float | None, verdict: str) -> Markup:
    """A level on a scale of -60 to 0 dBFS, the zones of its limits behind it."""
    width = 200
    title = "no level" if level_db is None else f"{level_db:.1f} dBFS"
    zones = f'<rect class="z" width="{width}" height="18"/>'
    if pass_db is not None and dead_db is not None:
        title += f"; pass from {pass_db:.1f}, dead below {dead_db:.1f}"
        low, high = scaled(dead_db, width), scaled(pass_db, width)
        zones = (
            f'<rect class="z zd" width="{low:.1f}" height="18"/>'
            f'<rect class="z zw" x="{low:.1f}" width="{high - low:.1f}" height="18"/>'
            f'<rect class="z zp" x="{high:.1f}" width="{width - high:.1f}" height="18"/>'
            f'<path class="k" d="M{low:.1f} 0v18M{high:.1f} 0v18"/>'
        )
    mark = "" if level_db is None else _outline(verdict, scaled(level_db, width), 9, 5)
    return Markup(
        f'<svg class="strip" viewBox="0 0 {width} 18" role="img" aria-label="{title}">{zones}{mark}</svg>'
    )


@dataclass(frozen=True)
class Point:
    """A reading on a history; pass_db and dead_db the limits it was judged by, None where not known."""

    at_ms: int
    level_db: float | None
    verdict: str
    pass_db: float | None
    dead_db: float | None
    faint: bool = False


@dataclass(frozen=True)
class Event:
    """A moment marked on a history: its letter stands at the top, its words below the drawing."""

    at_ms: int
    letter: str
    words: str


LETTER_WIDTH = 10.0


def history(
    title: str, points: Sequence[Point], events: Sequence[Event], dates: Sequence[tuple[int, str]]
) -> Markup:
    """Levels over time, -60 to 0 dBFS, with the limits in force as steps and events as lines.

    dates: (time, words) of the ticks along the axis.
    """
    width, height, left, top = 600.0, 190.0, 34.0, 14.0
    moments = [point.at_ms for point in points] + [event.at_ms for event in events]
    first, last = min(moments), max(moments)
    span = max(last - first, 1)

    def x(at_ms: int) -> float:
        return left + 12 + (at_ms - first) / span * (width - left - 24)

    def y(level_db: float) -> float:
        return top + height - scaled(level_db, height)

    parts = [f'<svg class="history" viewBox="0 0 {width:.0f} 236" role="img" aria-label="{escape(title)}">']
    for level in range(-60, 1, 10):
        parts.append(
            f'<path class="g" d="M{left} {y(level):.1f}H{width}"/>'
            f'<text class="a" x="{left - 5}" y="{y(level) + 4:.1f}">{level}</text>'
        )
    parts += [
        f'<text class="d{_end(at, first, last)}" x="{x(at):.1f}" y="222">{escape(words)}</text>'
        for at, words in dates
    ]
    for name in ("pass_db", "dead_db"):
        parts.append(_steps(points, name, x, y, width))
    parts += [f'<path class="e" d="M{x(event.at_ms):.1f} {top}v{height}"/>' for event in events]
    parts += [
        f'<text class="el" x="{at:.1f}" y="11">{escape(event.letter)}</text>'
        for event, at in zip(events, _apart([x(event.at_ms) for event in events], width), strict=True)
    ]
    for point in points:
        drawn = _outline(
            point.verdict, x(point.at_ms), y(SCALE_LOW_DB if point.level_db is None else point.level_db), 5
        )
        parts.append(f'<g class="faint">{drawn}</g>' if point.faint else drawn)
    return Markup("".join(parts) + "</svg>")


def _apart(places: Sequence[float], width: float) -> list[float]:
    """Where letters stand over marks, in order, moved so that none covers another."""
    made: list[float] = []
    for place in places:
        made.append(max(place, made[-1] + LETTER_WIDTH) if made else place)
    for index in range(len(made) - 1, -1, -1):
        room = width - LETTER_WIDTH / 2 if index == len(made) - 1 else made[index + 1] - LETTER_WIDTH
        made[index] = min(made[index], room)
    return made


def _end(at_ms: int, first_ms: int, last_ms: int) -> str:
    """Class of a date's text: at either end of the axis it must not stick out."""
    return " lo" if at_ms == first_ms else " hi" if at_ms == last_ms else ""


def _steps(points: Sequence[Point], name: str, x, y, width: float) -> str:  # type: ignore[no-untyped-def]
    """The limit of each point, held until the next that was judged by another."""
    path, previous = "", None
    for point in points:
        limit = getattr(point, name)
        if limit == previous:
            continue
        if limit is None:
            path += f"H{x(point.at_ms):.1f}"
        elif previous is None:
            path += f"M{x(point.at_ms):.1f} {y(limit):.1f}"
        else:
            path += f"H{x(point.at_ms):.1f}V{y(limit):.1f}"
        previous = limit
    end = "" if previous is None else f"H{width:.0f}"
    return f'<path class="s {name}" d="{path}{end}"/>' if path else ""


class Rule(NamedTuple):
    """A limit drawn across a trace: its level, and its name, "pass_db" or "dead_db"."""

    level_db: float
    name: str


def trace(
    title: str,
    values: Sequence[float],
    low: float,
    high: float,
    labels: tuple[str, str, str],
    rules: Sequence[Rule] = (),
    window: tuple[float, float] | None = None,
) -> Markup:
    """Evenly spaced values as a line.

    labels: under the left end, under the right end, and the unit. rules: limits drawn across. window: the shares of the
    width between which the trace is shaded.
    """
    width, height = 600.0, 150.0
    shade = "" if window is None else _shade(window, width, height)
    step = width / max(len(values) - 1, 1)
    span = high - low or 1.0
    points = " ".join(
        f"{index * step:.1f},{height - (min(max(value, low), high) - low) / span * height:.1f}"
        for index, value in enumerate(values)
    )
    across = "".join(
        f'<path class="s {rule.name}" d="M0 {height - (rule.level_db - low) / span * height:.1f}H{width:.0f}"/>'
        for rule in rules
    )
    return Markup(
        f'<svg class="trace" viewBox="-44 -8 652 186" role="img" aria-label="{escape(title)}">'
        f'<rect class="frame" width="{width:.0f}" height="{height:.0f}"/>{shade}{across}<polyline points="{points}"/>'
        f'<text class="a" x="-4" y="8">{high:g}</text><text class="a" x="-4" y="{height:.0f}">{low:g}</text>'
        f'<text class="a" x="-4" y="{height / 2:.0f}">{escape(labels[2])}</text>'
        f'<text class="t" x="0" y="168">{escape(labels[0])}</text>'
        f'<text class="t r" x="{width:.0f}" y="168">{escape(labels[1])}</text></svg>'
    )


def _shade(window: tuple[float, float], width: float, height: float) -> str:
    left, right = (min(max(share, 0.0), 1.0) * width for share in window)
    return f'<rect class="z zp" x="{left:.1f}" width="{right - left:.1f}" height="{height:.0f}"/>'
