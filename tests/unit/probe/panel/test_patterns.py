"""The table of what the bar and the beeper say: told apart by count and rhythm alone."""

import itertools

import pytest
from curbtick_probe.panel import patterns
from curbtick_wire.names import BUMPER_POSITIONS_MAX, HISS_VERDICTS, SEAL_VERDICTS, VERDICTS

SHORT_MS = 200
LONG_MS = 500
ROOM = {"leak": "seal", "tight": "seal", "hiss": "hiss", "quiet": "hiss", "tone": "hiss"}


def rhythm(name: str) -> str:
    """One round as somebody sees it who can only tell light from dark: s(hort), m(iddle) or l(ong) flashes."""
    flashes, lit_ms = "", 0
    for mask, duration_ms in [*patterns.pattern(name)[0], (0, 0)]:
        if mask:
            lit_ms += duration_ms
        elif lit_ms:
            flashes += "s" if lit_ms < SHORT_MS else "m" if lit_ms < LONG_MS else "l"
            lit_ms = 0
    return flashes


def beats(name: str) -> str:
    """The beeps as somebody hears them who cannot tell pitches apart."""
    return "".join("s" if beep_ms < SHORT_MS else "l" for _, beep_ms in patterns.pattern(name)[2])


# What may be shown after a press of READ on a sensor, or instead of it.
AFTER_A_READING = (
    "pass",
    "weak",
    "dead",
    "retry",
    "not_transmitting",
    "log_full",
    "battery_low",
    "self_test_failed",
)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(AFTER_A_READING, 2)))
def test_rhythms_differ_by_more_than_one_flash_or_by_length(one: str, other: str) -> None:
    assert rhythm(one) != rhythm(other)


@pytest.mark.parametrize(("one", "other"), list(itertools.combinations(AFTER_A_READING[:5], 2)))
def test_beeps_of_verdicts_differ_in_count_or_rhythm(one: str, other: str) -> None:
    assert beats(one) != beats(other)


def test_the_verdicts_are_one_two_three_and_a_flutter() -> None:
    assert [rhythm(name) for name in ("pass", "weak", "dead")] == ["l", "mm", "mmm"]
    assert rhythm("retry") == "s" * 10


def test_every_verdict_has_its_pattern() -> None:
    assert {*VERDICTS, *SEAL_VERDICTS, *HISS_VERDICTS} <= set(patterns.PATTERNS)
    assert len(patterns.RESULT_RHYTHMS) == len(VERDICTS)


@pytest.mark.parametrize("name", patterns.PATTERNS)
def test_patterns_are_well_formed(name: str) -> None:
    frames, repeats, beeps = patterns.pattern(name)
    assert repeats >= 1 and frames[-1][0] == 0
    assert all(0 <= mask <= patterns.ALL and 50 <= duration_ms <= 2000 for mask, duration_ms in frames)
    lit = [duration_ms for mask, duration_ms in frames if mask]
    assert len(beeps) <= len(lit)
    assert all(beep_ms <= lit_ms for (_, beep_ms), lit_ms in zip(beeps, lit, strict=False))


def test_a_checks_pattern_counts_its_blocks_flashes_and_beeps() -> None:
    for blocks, name in enumerate(patterns.CHECK_PATTERNS, start=1):
        frames, _, beeps = patterns.pattern(name)
        edges = [mask ^ mask << 1 for mask, _ in frames if mask]
        assert {edge.bit_count() // 2 for edge in edges} == {blocks}
        assert len(beeps) == blocks


def test_positions_have_one_led_each_rear_left_front_right() -> None:
    leds = [
        patterns.position_mask(bumper, place)
        for bumper in (0, 1)
        for place in range(1, BUMPER_POSITIONS_MAX + 1)
    ]
    assert leds == [1 << led for led in range(patterns.LEDS)]
    assert patterns.position_mask(1, 0) == 0


@pytest.mark.parametrize("vehicle", range(100))
def test_a_vehicles_number_can_be_read_off_the_bar(vehicle: int) -> None:
    number = 0
    for mask, _ in patterns.vehicle_frames(vehicle):
        leds = (mask & ~patterns.UNITS_MARK).bit_count()
        if mask & patterns.UNITS_MARK == patterns.UNITS_MARK:
            number += leds
        elif mask & patterns.UNITS_MARK == patterns.TENS_MARK:
            number += 10 * leds
    assert number == vehicle


def flashes_of_led(frames: tuple[tuple[int, int], ...], led: int) -> int:
    lit = [mask >> led & 1 for mask, _ in frames]
    return sum(now and not before for before, now in zip([0, *lit], lit, strict=False))


def test_a_bumper_result_flashes_every_position_by_its_verdict() -> None:
    verdicts, read = (1, 2, 3, 0, 1), (True, True, True, True, False)
    frames = patterns.result_frames(1, verdicts, read)
    counts = [flashes_of_led(frames, patterns.HALF + place) for place in range(5)]
    assert counts == [1, 2, 3, 9, 0]
    assert all(mask & patterns.REAR_HALF == 0 for mask, _ in frames)
    assert sum(mask >> patterns.HALF & 1 for mask, _ in frames) == patterns.RESULT_SLOTS - 2
    assert frames[-1][0] == frames[-2][0] == 0


def test_the_meter_is_a_bar_from_the_left() -> None:
    assert [patterns.level_mask(leds) for leds in (0, 1, 3, 12)] == [0, 1, 7, patterns.ALL]
