"""The page on the probe's panel, from its own tables: `python -m curbtick.virtual.panel.page hardware_notes`.

Writes panel.md and pictures/led_bar.svg into the folder named; a test holds the committed ones to the tables.
"""

import sys
import textwrap
from pathlib import Path

from curbtick.cautions import HISS_HINT, HISS_NOTE, PASS_NOTE
from curbtick.virtual.panel import bar, pictures

PAGE, PICTURE = "panel.md", "pictures/led_bar.svg"
LINE = 120

BUTTONS = {"read": "READ", "step": "STEP", "both": "both together"}
MANNERS = {"": "press {}", "long": "hold {}", "double": "press {} twice"}

# What each action of the gesture table does, by check where it differs.
ACTIONS = {
    "read": "read this position; the verdict follows, then the next position is current; after RETRY this one stays",
    "read_again": "read the last position again: the new reading supersedes the old one, both stay in the log",
    "next_position": "next position; past the last one the next bumper",
    "previous_position": "previous position",
    "next_bumper": "the vehicle's other bumper",
    "next_vehicle": "next vehicle of the round; after the last one the first",
    "next_check": "next check: bumper, seal, hiss, and bumper again",
    "self_test": "self-test",
    "show_current": "show which vehicle is current",
    "response": "slow or fast response of the bar",
}
CHECK_ACTIONS = {
    (
        "seal",
        "mark",
    ): "first the free reference, then the beginning of the first section, then the end of each section",
    ("seal", "reference"): "confirm the reference in free air: the sections marked before get their verdicts",
    ("hiss", "mark"): "first the background (6.9 s, pointing away), then the end of each section",
    ("hiss", "reference"): "the background again",
}
POWER_UP = {
    "start": "start",
    "pairing": "start, ready to be paired with a bench",
    "repl": "leave for MicroPython's prompt",
}
HELD = {0: "nothing", 1: "READ", 2: "STEP", 3: "both"}
METER = {
    "lost": "the tone is lost: no section is judged while it is",
    "no_reference": "no reference yet: press READ in free air",
    "no_background": "no background yet: press READ, pointing away",
    "clipped": "too loud",
    "dead": "no live microphone",
    "tone": "a tone, a whistle",
    "noisy": "too noisy to decide",
    "gusty": "too gusty to decide",
}

SERVED = (
    "Where a bench asks something while the meter runs, the probe stops listening within 0.2 s (in a reference or a "
    "background at its end) and answers. Nobody listened meanwhile, so the section is RETRY unless it leaks or hisses: "
    "mark it, and go along it again."
)

INTRODUCTION = """# The panel

Two buttons, READ and STEP, a bar of twelve LEDs of one colour, and a beeper. The left six LEDs are the rear bumper's
positions 1 to 6, the right six the front's. This page is made from `firmware/curbtick_probe/panel/gestures.py` and
`patterns.py`, which the firmware itself runs on.

![What the bar says](pictures/led_bar.svg)

A reading waits for the button to be let go, so that its click is over. While the probe listens the bar shows the
position alone and the beeper is silent. A verdict is shown only once the reading is safe in the log.

After PASS, WEAK and DEAD the next position is current; after RETRY the same one is, so that reading again is one press.
A sensor that stays silent is RETRY as long as no other of its bumper was heard: go on with STEP, and the result at the
end of the bumper says whether it is DEAD or the whole bumper is silent.
"""


def gestures_table() -> str:
    """Return the gesture table as Markdown."""
    lines = ["| check | gesture | what it does |", "|---|---|---|"]
    for (check, gesture), action in bar.probe_gestures()["GESTURE_TABLE"].items():
        lines.append(f"| {check} | {gesture_words(gesture)} | {action_words(check, action)} |")
    return "\n".join(lines)


def action_words(check: str, action: str) -> str:
    """Return what an action does in a check."""
    return CHECK_ACTIONS.get((check, action)) or ACTIONS[action]


def gesture_words(gesture: str) -> str:
    """Return a gesture as a person makes it, such as `hold READ`."""
    button, _, manner = gesture.partition("_")
    return MANNERS[manner].format(BUTTONS[button])


def _power_up_table() -> str:
    lines = ["| held at power-up | the probe will |", "|---|---|"]
    lines += [
        f"| {HELD[mask]} | {POWER_UP[what]} |"
        for mask, what in bar.probe_gestures()["POWER_UP_TABLE"].items()
    ]
    return "\n".join(lines)


def _patterns_table() -> str:
    lines = ["| pattern | meaning | rhythm (a block is 0.1 s) |", "|---|---|---|"]
    for name in bar.probe_patterns()["PATTERNS"]:
        lines.append(f"| {name} | {bar.MEANINGS[name]} | `{bar.strip(bar.pattern(name)[0])}` |")
    return "\n".join(lines)


def _meter_table() -> str:
    lines = ["| bar, five times a second in turn | meaning |", "|---|---|"]
    for name, (one, other) in bar.probe_patterns()["METER_PATTERNS"].items():
        lines.append(f"| `{bar.draw(one)}` `{bar.draw(other)}` | {METER[name]} |")
    return "\n".join(lines)


def page() -> str:
    """Return the page as Markdown."""
    times = bar.probe_gestures()
    return "\n\n".join(
        [
            INTRODUCTION.rstrip(),
            "## Gestures",
            f"To hold is {times['LONG_MS'] / 1000:g} s; a second press counts as a double one within "
            f"{times['DOUBLE_MS'] / 1000:g} s.",
            gestures_table(),
            _power_up_table(),
            "## Patterns",
            _patterns_table(),
            textwrap.fill(PASS_NOTE, LINE),
            "## The meter of the seal and the hiss check",
            "Three dB an LED from the left; one LED beyond it holds the section's maximum. Instead of a level:",
            _meter_table(),
            textwrap.fill(HISS_HINT, LINE),
            textwrap.fill(HISS_NOTE, LINE),
            textwrap.fill(SERVED, LINE),
            "",
        ]
    )


def main() -> None:
    """Write page and picture into the folder named on the command line."""
    folder = Path(sys.argv[1])
    (folder / PAGE).write_text(page(), encoding="utf-8")
    (folder / PICTURE).write_text(pictures.draw(), encoding="utf-8")


if __name__ == "__main__":
    main()
