"""The technician's card says what the probe's own tables say, and carries the cautions."""

import re
from html import unescape

from curbtick.cautions import CAUTIONS
from curbtick.virtual.panel import bar
from curbtick.virtual.panel.card import BAR_WIDTH, PX_PER_MS, card, drawing
from curbtick_wire import names


def test_it_says_every_verdict_every_gesture_and_every_caution() -> None:
    text = unescape(card())
    for verdict in names.VERDICTS:
        assert f">{verdict.upper()}</th>" in text
    gestures = [gesture for check, gesture in bar.probe_gestures()["GESTURE_TABLE"] if check == "bumper"]
    assert text.count('<th scope="row">press') + text.count('<th scope="row">hold') == len(gestures)
    for caution in CAUTIONS:
        assert caution in text


def test_a_drawing_is_the_pattern_of_the_probe() -> None:
    """Counted from the drawing alone: which LEDs are full, and how often it lights for how long."""
    for name in bar.probe_patterns()["PATTERNS"]:
        frames, _, _ = bar.pattern(name)
        drawn = str(drawing(frames))
        full = [fill == "#000" for fill in re.findall(r'<circle[^>]* fill="(#...)"', drawn)]
        first = next(mask for mask, _ in frames if mask)
        assert full == [bool(first >> led & 1) for led in range(bar.LEDS)], name
        lit = [float(width) for width in re.findall(r'<rect[^>]* width="([\d.]+)"', drawn)]
        assert abs(sum(lit) / PX_PER_MS - sum(ms for mask, ms in frames if mask)) < 1, name
        total_ms = sum(ms for _, ms in frames)
        assert f'viewBox="0 0 {BAR_WIDTH + total_ms * PX_PER_MS:g} ' in drawn, name
