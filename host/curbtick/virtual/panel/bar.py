"""Reading and drawing the probe's LED bar, by the probe's own table of patterns."""

import runpy
from collections.abc import Iterable, Sequence
from functools import lru_cache
from typing import Any, NamedTuple

from curbtick_wire import names

from curbtick.device import firmware_folder
from curbtick.virtual.probe.bus import BarChange

LIT, DARK = "\u25cf", "\u00b7"
LEDS = 12
_HALF = 6
# One character of a strip of time stands for so much.
_STRIP_MS = 100
# A pattern of so many masks is known even if its first frame ran on from the one before.
_UNMISTAKABLE = 6

Frames = Sequence[tuple[int, int]]

TITLES = {**{verdict: verdict.upper() for verdict in names.VERDICTS}, "log_full": "LOG FULL"}

# The patterns that end a section of a seal or hiss check.
SECTION_WORDS = frozenset((*names.SEAL_VERDICTS, *names.HISS_VERDICTS))

# What each pattern means to the technician; a test holds this to the probe's table.
MEANINGS = {
    "pass": "PASS: it sends as it should; not whether it hears",
    "weak": "WEAK: clean it, look at it, read again",
    "dead": "DEAD: silent while the system transmits",
    "retry": "RETRY: no verdict, read it again; silent twice: STEP",
    "not_transmitting": "the whole bumper is silent: a fact about the vehicle",
    "log_full": "nothing more is stored: pull at the bench",
    "battery_low": "battery low: change the cells",
    "self_test": "self-test runs",
    "self_test_passed": "self-test passed",
    "self_test_failed": "self-test failed: no verdicts until it is put right",
    "pairing": "ready for pairing with a bench",
    "paired": "paired with a bench",
    "refused": "this press means nothing here",
    "check_bumper": "bumper check",
    "check_seal": "seal check",
    "check_hiss": "hiss check",
    "mark": "taken: a reference, a background or a section's beginning",
    "leak": "the section leaks",
    "tight": "the section is tight",
    "hiss": "the section hisses",
    "quiet": "the section is quiet",
    "tone": "the section sounds a tone, a whistle",
}


def words_of(name: str) -> str:
    """Return a pattern's short words for a person."""
    return TITLES.get(name, MEANINGS[name])


@lru_cache(maxsize=1)
def probe_patterns() -> dict[str, Any]:
    """Return the names defined in the probe's patterns.py."""
    return runpy.run_path(str(firmware_folder() / "curbtick_probe" / "panel" / "patterns.py"))


def pattern(name: str) -> tuple[tuple[tuple[int, int], ...], int, tuple[tuple[int, int], ...]]:
    """Return a pattern of the probe's: frames of (mask, duration_ms), repeats, beeps of (frequency_hz, duration_ms)."""
    found: tuple[tuple[tuple[int, int], ...], int, tuple[tuple[int, int], ...]]
    found = probe_patterns()["pattern"](name)
    return found


@lru_cache(maxsize=1)
def probe_gestures() -> dict[str, Any]:
    """Return the names defined in the probe's gestures.py."""
    return runpy.run_path(str(firmware_folder() / "curbtick_probe" / "panel" / "gestures.py"))


def draw(mask: int) -> str:
    """Return the bar as twelve characters, a gap between the rear's and the front's half."""
    leds = "".join(LIT if mask >> led & 1 else DARK for led in range(LEDS))
    return f"{leds[:_HALF]} {leds[_HALF:]}"


def strip(frames: Frames) -> str:
    """Return frames as a strip of time: a block for each tenth of a second of light, half a one where it flickers."""
    lit_ms = [bool(mask) for mask, duration_ms in frames for _ in range(duration_ms)]
    shares = [sum(lit_ms[at : at + _STRIP_MS]) / _STRIP_MS for at in range(0, len(lit_ms), _STRIP_MS)]
    return "".join(
        " " if share < 0.25 else "\u258c" if share < 0.75 else "\u2588" for share in shares
    ).rstrip()


class Shown(NamedTuple):
    """One mask on the bar for a while."""

    mask: int
    duration_ms: int


def shown(changes: Sequence[BarChange], end_us: int) -> list[Shown]:
    """Return what a run of bar changes showed until end_us, equal neighbours taken together."""
    ends = [*(change.time_us for change in changes[1:]), end_us]
    lasted = zip(changes, ends, strict=False)
    return joined((change.mask, round((end - change.time_us) / 1000)) for change, end in lasted)


def joined(frames: Iterable[tuple[int, int]]) -> list[Shown]:
    """Take neighbours of one mask together, and leave out what lasted no time."""
    found: list[Shown] = []
    for mask, duration_ms in frames:
        if found and found[-1].mask == mask:
            found[-1] = Shown(mask, found[-1].duration_ms + duration_ms)
        elif duration_ms:
            found.append(Shown(mask, duration_ms))
    return found


def read_bar(seen: Sequence[Shown]) -> list[str]:
    """Return the names of the patterns seen, in order, as somebody with the table in hand reads them."""
    found: list[str] = []
    place = 0
    while place < len(seen):
        name, length = _pattern_at(seen, place)
        if name:
            found.append(name)
        place += length
    return found


def _pattern_at(seen: Sequence[Shown], place: int) -> tuple[str | None, int]:
    """Return the longest pattern that was played from a place on, and how many masks it took."""
    best: tuple[str | None, int] = (None, 1)
    for name in probe_patterns()["PATTERNS"]:
        frames, repeats, _ = pattern(name)
        length = _match(joined(frames * repeats), seen[place:])
        if length > best[1] or (length and best[0] is None):
            best = (name, length)
    return best


def _match(masks: Sequence[Shown], seen: Sequence[Shown]) -> int:
    """Return how many of the masks seen a pattern accounts for, 0 if it was not shown.

    The first frame of a long one may have run on from what was lit before, and the last, dark frame may run into what
    follows.
    """
    if len(seen) < len(masks):
        return 0
    for place, (expected, found) in enumerate(zip(masks[:-1], seen, strict=False)):
        longer_ms = found.duration_ms - expected.duration_ms
        runs_on = place == 0 and len(masks) >= _UNMISTAKABLE
        if expected.mask != found.mask or longer_ms < -1 or (longer_ms > 1 and not runs_on):
            return 0
    return len(masks) - (masks[-1].mask != seen[len(masks) - 1].mask)


def position_mask(bumper: int, position: int) -> int:
    """Return the LED of a position: bumper by names.BUMPERS, position from 1."""
    mask: int = probe_patterns()["position_mask"](bumper, position)
    return mask


def read_vehicle(seen: Sequence[Shown]) -> int | None:
    """Return the vehicle's number that the bar counted out, or None."""
    frames_of = probe_patterns()["vehicle_frames"]
    for number in range(99, 0, -1):
        frames = joined(frames_of(number))
        if any(_match(frames, seen[place:]) for place in range(len(seen))):
            return number
    return None


def read_result(seen: Sequence[Shown], bumper: int, positions: int) -> tuple[int | None, ...] | None:
    """Return the verdict (names.VERDICTS) that each position's LED told in a bumper result, None for a dark one.

    None altogether where no bumper result was shown.
    """
    for place in range(len(seen)):
        verdicts = _result_at(seen[place:], bumper, positions)
        if verdicts is not None:
            return verdicts
    return None


def _result_at(seen: Sequence[Shown], bumper: int, positions: int) -> tuple[int | None, ...] | None:
    table = probe_patterns()
    slots = _slots(seen, table["RESULT_SLOT_MS"])[: table["RESULT_SLOTS"]]
    leds = [position_mask(bumper, position + 1) for position in range(positions)]
    if len(slots) < table["RESULT_SLOTS"] or any(mask & ~sum(leds) for mask in slots) or not any(slots):
        return None
    rhythms = [sum(bool(mask & led) << slot for slot, mask in enumerate(slots)) for led in leds]
    if any(lit and lit not in table["RESULT_RHYTHMS"] for lit in rhythms):
        return None
    return tuple(table["RESULT_RHYTHMS"].index(lit) if lit else None for lit in rhythms)


def _slots(seen: Sequence[Shown], slot_ms: int) -> list[int]:
    """Cut what was seen into slots of equal length."""
    return [part.mask for part in seen for _ in range(round(part.duration_ms / slot_ms))]
