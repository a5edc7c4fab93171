"""The card that a technician carries: what the bar says, what the buttons do, the walk, on one sheet of paper.

All of it comes from the probe's own tables and from the words of the panel's page; nothing is said twice.
"""

from collections.abc import Sequence
from typing import NamedTuple

from curbtick_wire import names
from jinja2 import Environment, PackageLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from curbtick.cautions import CAUTIONS
from curbtick.verdicts import BEST_FIRST
from curbtick.virtual.panel import bar, page

# On paper: a lit LED is full, a dark one hollow, and time runs to the right as black blocks.
LED_STEP, LED_RADIUS, GAP = 11.0, 4.2, 5.0
BAR_WIDTH = bar.LEDS * LED_STEP + GAP + 10
PX_PER_MS = 0.038
HEIGHT = 14.0
VEHICLE = 12

PATTERNS = ("not_transmitting", "refused", "battery_low", "log_full", "self_test_failed")
SECTIONS = ("mark", "leak", "tight", "hiss", "quiet", "tone")
# What to do after each verdict, in the fewest words.
NEXT = {
    "pass": "Go on.",
    "weak": "Go on; the bench says the next step.",
    "dead": "Go on; the bench says the next step.",
    "retry": "Hold still, press READ again. Silent twice: STEP.",
}


class Said(NamedTuple):
    """A pattern of the bar: its drawing, its short words, and what it means or asks for."""

    drawing: Markup
    words: str
    meaning: str


def card() -> str:
    """Return the card as a page for the printer, A4 or Letter."""
    environment = Environment(
        loader=PackageLoader("curbtick.virtual.panel"),
        autoescape=select_autoescape(),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    counting = bar.probe_patterns()["vehicle_frames"](VEHICLE)
    return environment.get_template("card.html").render(
        verdicts=[Said(drawing(bar.pattern(name)[0]), bar.words_of(name), NEXT[name]) for name in BEST_FIRST],
        patterns=_said(PATTERNS),
        sections=_said(SECTIONS),
        counting=[drawing(frames) for frames in (counting[:2], counting[2:])],
        vehicle=VEHICLE,
        place=drawing(((bar.position_mask(names.REAR, 3), 0),)),
        buttons=[
            (page.gesture_words(gesture), page.action_words(check, action))
            for (check, gesture), action in bar.probe_gestures()["GESTURE_TABLE"].items()
            if check == "bumper"
        ],
        cautions=CAUTIONS,
    )


def _said(chosen: Sequence[str]) -> list[Said]:
    return [
        Said(drawing(bar.pattern(name)[0]), name.replace("_", " "), bar.MEANINGS[name]) for name in chosen
    ]


def drawing(frames: bar.Frames) -> Markup:
    """The bar as it first lights, and beside it its rhythm: a block for each time it is lit."""
    mask = next((lit for lit, _ in frames if lit), 0)
    parts, time_ms = [], 0
    for led in range(bar.LEDS):
        x = 8 + led * LED_STEP + (GAP if led >= bar.LEDS // 2 else 0)
        fill = "#000" if mask >> led & 1 else "#fff"
        parts.append(
            f'<circle cx="{x:g}" cy="{HEIGHT / 2:g}" r="{LED_RADIUS:g}" fill="{fill}" stroke="#000" stroke-width=".8"/>'
        )
    for lit, duration_ms in bar.joined(frames):
        if lit:
            x, width = BAR_WIDTH + time_ms * PX_PER_MS, duration_ms * PX_PER_MS
            parts.append(f'<rect x="{x:g}" y="3" width="{width:g}" height="8"/>')
        time_ms += duration_ms
    width = BAR_WIDTH + time_ms * PX_PER_MS
    return Markup(
        f'<svg viewBox="0 0 {width:g} {HEIGHT:g}" width="{width:g}" height="{HEIGHT:g}" aria-hidden="true">'
    ) + Markup("".join(parts) + "</svg>")
