"""The sounds of a reading over its time: each a stem as high as its level, with a head that tells whose it was."""

from collections.abc import Mapping, Sequence
from html import escape
from typing import Any

from markupsafe import Markup

from curbtick.report.drawings import svg

WIDTH, HEIGHT = svg.WIDE, 150.0
# The heads differ by outline, so that they are told apart without colour: filled circle, ring, cross, short bar.
HEADS = {
    "held": '<circle class="held" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>',
    "sibling": '<circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>',
    "neighbour": '<circle class="ring" cx="{x:.1f}" cy="{y:.1f}" r="4.5"/>',
    "echo": '<path class="cross" d="M{x:.1f} {y:.1f}m-4-4l8 8m0-8l-8 8"/>',
    "other": '<path class="cross" d="M{x:.1f} {y:.1f}m-5 0h10"/>',
}


def _y(level_db: float) -> float:
    return HEIGHT - svg.scaled(level_db, HEIGHT)


def timeline(sounds: Sequence[Mapping[str, Any]], pass_db: float | None, dead_db: float | None) -> Markup:
    """The drawing. sounds: time_ms, level_db (dBFS or None) and kind of each; the limits as lines, None for unknown."""
    last_ms = max((sound["time_ms"] for sound in sounds), default=0.0)
    span_ms = max(last_ms * 1.02, 1.0)
    counts = {kind: sum(sound["kind"] == kind for sound in sounds) for kind in HEADS}
    words = ", ".join(f"{count} {kind}" for kind, count in counts.items() if count) or "none"
    title = f"Sounds over the reading: {words}"
    parts = [
        f'<svg class="trace" viewBox="-44 -8 652 186" role="img" aria-label="{escape(title)}">'
        f'<rect class="frame" width="{WIDTH:.0f}" height="{HEIGHT:.0f}"/>'
    ]
    for name, limit_db in (("pass_db", pass_db), ("dead_db", dead_db)):
        if limit_db is not None:
            parts.append(f'<path class="s {name}" d="M0 {_y(limit_db):.1f}H{WIDTH:.0f}"/>')
    parts += [_stem(sound, span_ms) for sound in sounds if sound["level_db"] is not None]
    parts.append(
        f'<text class="a" x="-4" y="8">0</text><text class="a" x="-4" y="{HEIGHT:.0f}">-60</text>'
        f'<text class="a" x="-4" y="{HEIGHT / 2:.0f}">dBFS</text><text class="t" x="0" y="168">0</text>'
        f'<text class="t r" x="{WIDTH:.0f}" y="168">{span_ms:.0f} ms</text></svg>'
    )
    return Markup("".join(parts))


def _stem(sound: Mapping[str, Any], span_ms: float) -> str:
    x, y = sound["time_ms"] / span_ms * WIDTH, _y(sound["level_db"])
    return f'<path class="stem" d="M{x:.1f} {HEIGHT:.0f}V{y:.1f}"/>' + HEADS[sound["kind"]].format(x=x, y=y)
