"""Draw the bar's patterns from the probe's own table: `python -m curbtick.virtual.panel.pictures FILE.svg`."""

import sys
from collections.abc import Iterable, Sequence
from html import escape
from pathlib import Path

from curbtick_wire import names

from curbtick.verdicts import BEST_FIRST
from curbtick.virtual.panel import bar

WIDTH, MARGIN = 1060, 24
ROW, HEAD, TOP = 46, 40, 46
NAME_X, BAR_X, TIME_X, MEANING_X = MARGIN, 170, 435, 780
LED_STEP, LED_RADIUS, HALF_GAP = 19, 6.5, 8
PX_PER_MS = 0.072
TIME_MAX_MS = 4600

PAPER, INK, SOFT, CASE, DARK, GLOW, BEEP = (
    "#ffffff",
    "#1c2733",
    "#5b6b7a",
    "#1c2733",
    "#41505f",
    "#ffb000",
    "#0a6ebd",
)
FONT = "font-family='DejaVu Sans, Verdana, sans-serif'"

# Groups of rows: (title, pattern names).
GROUPS = (
    ("After a press of READ", BEST_FIRST),
    ("About the vehicle", ("not_transmitting",)),
    ("About the probe", ("log_full", "battery_low", "self_test_failed", "pairing")),
    ("Which check is current", ("check_bumper", "check_seal", "check_hiss")),
    ("Seal and hiss check", ("leak", "tight", "hiss", "quiet", "tone")),
)


class Sheet:
    """Collects SVG parts from the top down."""

    def __init__(self) -> None:
        self._parts: list[str] = []
        self._y = TOP

    def text(
        self, x: float, y: float, words: str, size: int = 13, colour: str = INK, bold: bool = False
    ) -> None:
        """Write words with their baseline at y."""
        weight = " font-weight='bold'" if bold else ""
        self._parts.append(
            f"<text x='{x:g}' y='{y:g}' font-size='{size}' fill='{colour}'{weight}>{escape(words)}</text>"
        )

    def box(self, x: float, y: float, width: float, height: float, colour: str, round_px: float = 0) -> None:
        """Fill a rectangle."""
        self._parts.append(
            f"<rect x='{x:g}' y='{y:g}' width='{width:g}' height='{height:g}' rx='{round_px:g}' fill='{colour}'/>"
        )

    def title(self, words: str) -> None:
        """Begin a group of rows."""
        self._y += HEAD - 12
        self.text(NAME_X, self._y, words, 15, INK, bold=True)
        self._y += 12

    def row(
        self, name: str, mask: int, frames: bar.Frames, beeps: Sequence[tuple[int, int]], meaning: str
    ) -> None:
        """Draw one pattern: its name, the bar as it first lights, its rhythm in light and sound, what it means."""
        middle = self._y + ROW / 2
        self.text(NAME_X, middle + 5, name, 13, INK, bold=True)
        self._leds(mask, middle)
        self._rhythm(frames, beeps, middle)
        for line, words in enumerate(_wrapped(meaning, 38)):
            self.text(MEANING_X, middle + 4 + 16 * line - (8 if len(meaning) > 38 else 0), words, 12, SOFT)
        self._y += ROW

    def _leds(self, mask: int, middle: float) -> None:
        self.box(BAR_X - 8, middle - 13, 12 * LED_STEP + HALF_GAP + 10, 26, CASE, 6)
        for led in range(bar.LEDS):
            x = BAR_X + 6 + led * LED_STEP + (HALF_GAP if led >= bar.LEDS // 2 else 0)
            colour = GLOW if mask >> led & 1 else DARK
            self._parts.append(f"<circle cx='{x:g}' cy='{middle:g}' r='{LED_RADIUS}' fill='{colour}'/>")

    def _rhythm(self, frames: bar.Frames, beeps: Sequence[tuple[int, int]], middle: float) -> None:
        self.box(TIME_X, middle + 5, TIME_MAX_MS * PX_PER_MS, 1, "#d5dbe1")
        left, time_ms = list(beeps), 0
        for mask, duration_ms in bar.joined(frames):
            if mask:
                x = TIME_X + time_ms * PX_PER_MS
                self.box(x, middle - 11, duration_ms * PX_PER_MS, 15, GLOW, 1.5)
                if left:
                    self.box(x, middle + 8, left.pop(0)[1] * PX_PER_MS, 5, BEEP, 1.5)
            time_ms += duration_ms

    def svg(self) -> str:
        """Return the whole picture."""
        height = self._y + MARGIN
        head = f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH} {height:g}' width='{WIDTH}' {FONT}>"
        return "\n".join(
            [head, f"<rect width='{WIDTH}' height='{height:g}' fill='{PAPER}'/>", *self._parts, "</svg>", ""]
        )


def _wrapped(words: str, width: int) -> Iterable[str]:
    if len(words) <= width:
        return [words]
    cut = words.rfind(" ", 0, width + 1)
    return [words[:cut], words[cut + 1 :]]


def _first_lit(frames: bar.Frames) -> int:
    return next(mask for mask, _ in frames if mask)


def _place_rows(sheet: Sheet) -> None:
    table = bar.probe_patterns()
    vehicle, bumper, position = 12, names.REAR, 3
    frames = table["vehicle_frames"](vehicle)
    sheet.row("vehicle 12", frames[0][0], frames, (), "one ten, counted from the left; LED 12")
    sheet.row("", frames[2][0], frames[2:], (), "says tens. Two units; LEDs 11, 12")
    mask = bar.position_mask(bumper, position)
    sheet.row("rear 3", mask, ((mask, TIME_MAX_MS),), (), "rests until the next press")


def _result_row(sheet: Sheet) -> None:
    verdicts = (names.PASS, names.WEAK, names.DEAD, names.RETRY, names.PASS, names.PASS)
    frames = bar.probe_patterns()["result_frames"](names.REAR, verdicts, (True,) * 6)
    for position, verdict in enumerate(verdicts[:4], 1):
        led = bar.position_mask(names.REAR, position)
        rhythm = tuple((mask & led, duration_ms) for mask, duration_ms in frames)
        name = "bumper result" if position == 1 else ""
        sheet.row(name, led, rhythm, (), f"rear {position}: {names.VERDICTS[verdict].upper()}")


def draw() -> str:
    """Return the picture of all patterns as SVG."""
    sheet = Sheet()
    sheet.text(MARGIN, MARGIN + 8, "What the bar says", 20, INK, bold=True)
    sheet.text(TIME_X, MARGIN + 8, "light over time, and beeps below it", 12, SOFT)
    sheet.title("Which vehicle, bumper and position is current")
    _place_rows(sheet)
    for title, members in GROUPS:
        sheet.title(title)
        for name in members:
            frames, _, beeps = bar.pattern(name)
            words = bar.TITLES.get(name, name.replace("_", " ").replace("check ", ""))
            sheet.row(words, _first_lit(frames), frames, beeps, bar.MEANINGS[name])
        if "not_transmitting" in members:
            _result_row(sheet)
    return sheet.svg()


def main() -> None:
    """Write the picture to the file named on the command line."""
    Path(sys.argv[1]).write_text(draw(), encoding="utf-8")


if __name__ == "__main__":
    main()
