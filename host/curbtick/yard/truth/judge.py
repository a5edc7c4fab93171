"""What a reading's verdict must be.

Near a limit, or in noise above the limit set's, no way of deciding can be held to the truth. Such cases are named in
`Answer.apart` and counted apart. The margins are the benchmark's own:

- a level within 1.5 dB of a limit, a frequency within 1 kHz of one, a ring-down within a quarter of one;
- a share of missing bursts between 15 and 35 %, or fewer than three bursts;
- noise from 1.5 dB below `noise_max_cdb` on (-31.5 dBFS in its loudest 50 ms with the factory set), and noise that
  hides the end of a short ring-down;
- a loose contact whose bursts are as regular as a slower system's, while no sibling shows the true interval;
- a slip of the probe that costs less than 6.5 dB.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from curbtick_wire.names import DEAD, PASS, RETRY, WEAK

from curbtick.yard.front_end.timebase import TICKS_PER_MS
from curbtick.yard.truth.truth import Truth, Window

Limits = Mapping[str, int]

# Noise with peaks 15 dB below a burst moves its level by as much: 20 lg 1.18 = 1.4 dB.
LEVEL_MARGIN_DB = 1.5
# A burst of half a millisecond is 2 kHz wide; half of that either way decides nothing.
FREQUENCY_MARGIN_HZ = 1_000.0
# The limit is 25 %; of ten bursts, one more or less is 10 %.
MISSING_MARGIN = (0.15, 0.35)
# A carrier's period is 15 to 25 us, which is a quarter or more of the shortest ring-down of 60 us.
RINGDOWN_MARGIN = 1.25
# The noise must lie 8 dB below -20 dB of the burst for a short fall to be timed; a long one still sounds when a short
# one would be over, which shows above noise that lies 16 dB below the burst.
FALL_OVER_NOISE_DB = 28.0
LONG_FALL_OVER_NOISE_DB = 16.0
# A train this far over the noise's rms, with this many bursts, is heard by any honest detector.
AUDIBLE_DB = 6.0
AUDIBLE_BURSTS = 4
# One this far over it is heard burst by burst, so that its own interval is plain.
SINGLY_AUDIBLE_DB = 9.0
# Fewer than these from a sensor that leaves some out may be taken for anything.
FEWEST_BURSTS = 3
# A slip of the probe shows when at least this many bursts came before it and after it.
MOVED_BURSTS = 2
# Levels that differ by less do not show that the probe slipped.
SLIP_DB = 6.5


@dataclass(frozen=True)
class Answer:
    """What a reading over a window must be.

    kind: "healthy" (must PASS), "faulty" (must not), "silent" (the held sensor sends nothing or next to nothing),
    "moved", "probe_fault".
    accept: the verdicts (numbers of names.VERDICTS) that are right.
    apart: why the case lies too near a limit to count, empty if it counts.
    due: how many bursts of the held sensor were due.
    sent: how many of them were really sent.
    noise_dbfs: rms over 30-80 kHz of the lasting noise, in its loudest 50 ms.
    """

    kind: str
    accept: frozenset[int]
    apart: tuple[str, ...]
    due: int
    sent: int
    noise_dbfs: float

    @property
    def missing(self) -> float:
        """Share of due bursts that were not sent."""
        return 1.0 - self.sent / self.due if self.due else 0.0


@dataclass(frozen=True)
class _Ruling:
    kind: str
    accept: frozenset[int]
    apart: tuple[str, ...] = ()

    def also(self, verdicts: frozenset[int], why: str) -> "_Ruling":
        return _Ruling(self.kind, self.accept | verdicts, (*self.apart, why))


def judge(truth: Truth, window: Window, limits_class: Limits, limit_set: Mapping[str, object]) -> Answer:
    """Return what a reading over a window must say under these limits.

    limits_class, limit_set: fields of settings.LIMIT_CLASS and settings.LIMIT_SET.
    """
    noise_dbfs = truth.loudest_noise_dbfs(window)
    ruling = _ruling(truth, window, limits_class)
    if (
        ruling.kind != "probe_fault"
        and noise_dbfs > _number(limit_set, "noise_max_cdb") / 100 - LEVEL_MARGIN_DB
    ):
        ruling = ruling.also(frozenset({RETRY}), "noise")
    due = 0 if truth.held is None else truth.held.due(window)
    sent = 0 if truth.held is None else len(truth.held.sent_ticks(window))
    return Answer(ruling.kind, ruling.accept, ruling.apart, due, sent, noise_dbfs)


def _number(fields: Mapping[str, object], name: str) -> int:
    value = fields[name]
    assert isinstance(value, int)
    return value


def _ruling(truth: Truth, window: Window, limits: Limits) -> _Ruling:
    if truth.probe_fault != "none":
        return _Ruling("probe_fault", frozenset({RETRY}))
    held = truth.held
    if held is None or not held.sent_ticks(window):
        return _silent(truth, window)
    over_dead_db = truth.level_dbfs(window) - limits["dead_cdb"] / 100
    if over_dead_db < -LEVEL_MARGIN_DB:
        return _silent(truth, window)
    ruling = _moved(truth, window) or _sounding(truth, window, limits)
    if over_dead_db < LEVEL_MARGIN_DB:
        ruling = ruling.also(_silent(truth, window).accept, "level")
    if len(held.sent_ticks(window)) < min(FEWEST_BURSTS, held.due(window)):
        ruling = ruling.also(frozenset({RETRY}), "few_bursts")
    return ruling


def _silent(truth: Truth, window: Window) -> _Ruling:
    """A silent sensor is DEAD where the system is beyond doubt heard to transmit; silence alone proves nothing."""
    if truth.heard_before or _audible(truth, window):
        return _Ruling("silent", frozenset({DEAD, RETRY} if truth.imposters else {DEAD}))
    return _Ruling("silent", frozenset({DEAD, RETRY} if truth.transmits else {RETRY}))


def _audible(truth: Truth, window: Window) -> bool:
    least_dbfs = truth.noise_dbfs(window) + AUDIBLE_DB
    return any(
        train.level_dbfs >= least_dbfs and len(train.sent_ticks(window)) >= AUDIBLE_BURSTS
        for train in truth.trains
    )


def _moved(truth: Truth, window: Window) -> _Ruling | None:
    """A reading during which the probe slipped is no verdict; None if its bursts came at about one level."""
    assert truth.held is not None
    fade = truth.held.source.fade
    if fade is None:
        return None
    fall_db = [-20.0 * math.log10(fade.at(tick)) for tick in truth.held.sent_ticks(window)]
    slip_db = max(fall_db) - min(fall_db)
    if slip_db < LEVEL_MARGIN_DB:
        return None
    ruling = _Ruling("moved", frozenset({RETRY}))
    before = sum(fall < (max(fall_db) + min(fall_db)) / 2 for fall in fall_db)
    if slip_db < SLIP_DB or min(before, len(fall_db) - before) < MOVED_BURSTS:
        return ruling.also(frozenset({PASS, WEAK, DEAD}), "moved_at_edge")
    return ruling


def _sounding(truth: Truth, window: Window, limits: Limits) -> _Ruling:
    """Judge a sensor that is heard: each test holds, fails, or (None) is too near to say."""
    tests = {
        "level": _level_holds(truth, window, limits),
        "frequency": _frequency_holds(truth, limits),
        "ringdown": _ringdown_holds(truth, window, limits),
        "missing": _missing_holds(truth, window),
    }
    if False in tests.values():
        only_missing = all(holds is not False for name, holds in tests.items() if name != "missing")
        unknowable = only_missing and _looks_slower(truth, window)
        return _Ruling("faulty", frozenset({WEAK}), ("slower",) if unknowable else ())
    near = tuple(name for name, holds in tests.items() if holds is None)
    return _Ruling("healthy", frozenset({PASS, WEAK} if near else {PASS}), near)


def _level_holds(truth: Truth, window: Window, limits: Limits) -> bool | None:
    over_db = truth.level_dbfs(window) - limits["pass_cdb"] / 100
    return None if abs(over_db) < LEVEL_MARGIN_DB else over_db > 0


def _frequency_holds(truth: Truth, limits: Limits) -> bool | None:
    assert truth.burst is not None
    inside_hz = limits["window_hz"] - abs(truth.burst.frequency_hz - limits["centre_hz"])
    return None if abs(inside_hz) < FREQUENCY_MARGIN_HZ else inside_hz > 0


def _ringdown_holds(truth: Truth, window: Window, limits: Limits) -> bool | None:
    """A short fall to -20 dB that ends in the noise cannot be timed by anybody."""
    assert truth.burst is not None
    low_us, high_us = limits["ringdown_min_us"], limits["ringdown_max_us"]
    least_us, most_us = truth.burst.ringdown_least_us, truth.burst.ringdown_most_us
    if low_us * RINGDOWN_MARGIN <= least_us and most_us <= high_us / RINGDOWN_MARGIN:
        return True
    over_noise_db = truth.level_dbfs(window) - truth.loudest_noise_dbfs(window)
    if least_us > high_us * RINGDOWN_MARGIN:
        return False if over_noise_db >= LONG_FALL_OVER_NOISE_DB else None
    if most_us < low_us / RINGDOWN_MARGIN:
        return False if over_noise_db >= FALL_OVER_NOISE_DB else None
    return None


def _missing_holds(truth: Truth, window: Window) -> bool | None:
    assert truth.held is not None
    due = truth.held.due(window)
    share = 1.0 - len(truth.held.sent_ticks(window)) / due if due else 0.0
    return None if MISSING_MARGIN[0] <= share <= MISSING_MARGIN[1] else share < MISSING_MARGIN[0]


def _looks_slower(truth: Truth, window: Window) -> bool:
    """Whether the bursts really sent are as regular as those of a slower system, and no sibling tells otherwise.

    Where every second burst is missing, one audible sibling tells nothing: its two bursts look like two siblings'.
    """
    assert truth.held is not None
    ticks = truth.held.sent_ticks(window)
    steps = {
        round((after - before) / (truth.interval_ms * TICKS_PER_MS))
        for before, after in zip(ticks, ticks[1:], strict=False)
    }
    if len(steps) != 1 or steps == {1}:
        return False
    return _audible_siblings(truth, window) < (2 if steps == {2} else 1)


def _audible_siblings(truth: Truth, window: Window) -> int:
    least_dbfs = truth.noise_dbfs(window) + SINGLY_AUDIBLE_DB
    return sum(sibling.level_dbfs >= least_dbfs for sibling in truth.siblings)
