"""The hiss check's logic: unrest of a background, sections and their verdicts."""

import random

import pytest
from curbtick_probe.hiss.meter import SEGMENTS
from curbtick_probe.hiss.section import (
    CLIPPED,
    DEAD,
    GUSTY,
    NO_BACKGROUND,
    NOISY,
    QUIET,
    RISE,
    STATUSES,
    TONE,
    Section,
)
from curbtick_probe.hiss.unrest import SECONDS_MAX, STATIONARY_CDB, UPDATES_MAX, Unrest, entry, root
from curbtick_wire import names
from hypothesis import given
from hypothesis import strategies as st


def learned(levels: list[int], rise_cdb: int = 50) -> Unrest:
    unrest = Unrest()
    for level_cdb in levels:
        unrest.add(level_cdb)
    unrest.fix(rise_cdb)
    return unrest


def noise(count: int, spread_cdb: float, seed: int) -> list[int]:
    source = random.Random(seed)
    return [round(source.gauss(-5000, spread_cdb)) for _ in range(count)]


def test_steady_noise_leaves_half_a_decibel_to_be_found() -> None:
    calm = [learned(noise(30, STATIONARY_CDB * 0.95, seed)) for seed in range(300)]
    stationary = [unrest for unrest in calm if unrest.stationary]
    assert len(stationary) >= 0.95 * len(calm)
    assert {unrest.threshold_cdb for unrest in stationary} <= set(range(34, 44))
    assert all(unrest.decides for unrest in stationary)


def test_a_higher_limit_asks_for_a_higher_rise() -> None:
    levels = noise(30, 15, 1)
    assert learned(levels, 300).threshold_cdb > learned(levels, 50).threshold_cdb + 80


def test_a_restless_background_raises_the_threshold_or_decides_nothing() -> None:
    for seed in range(50):
        restless = learned(noise(30, 60, seed))
        assert not restless.stationary and restless.threshold_cdb > 150
        wild = learned(noise(30, 300, seed))
        assert not wild.stationary and not wild.decides


def test_a_slow_wander_is_noticed_by_whole_seconds() -> None:
    slow = [-5000 + 40 * (n // 5 % 2) for n in range(30)]
    assert not learned(slow).stationary
    mixed = slow[::5] * 5
    assert (
        learned(mixed).stationary
        or learned(mixed).variance_of_seconds() < learned(slow).variance_of_seconds()
    )


def test_a_wander_is_remembered_longer_than_the_updates() -> None:
    """Sixteen seconds that part the way in the middle: the newest eight alone show nothing."""
    moved = [-5000] * (UPDATES_MAX - 1) + [-4960] * UPDATES_MAX + [-4960]
    assert not learned(moved).stationary
    assert learned(moved[-UPDATES_MAX:]).stationary
    forgotten = moved + [-4960] * (SEGMENTS * SECONDS_MAX)
    assert learned(forgotten).stationary


@given(st.lists(st.integers(-12000, 600), min_size=3, max_size=100))
def test_any_levels_give_a_threshold(levels: list[int]) -> None:
    unrest = learned(levels)
    newest = levels[-UPDATES_MAX:]
    assert unrest.count == len(newest)
    assert min(newest) - 1 <= unrest.level_cdb <= max(newest)
    assert unrest.threshold_cdb >= 25 and unrest.range_cdb >= 8 * STATIONARY_CDB


@given(st.integers(0, 10**9))
def test_integer_root(value: int) -> None:
    assert root(value) ** 2 <= value < (root(value) + 1) ** 2


def test_table_entries() -> None:
    table = ((10, "many"), (3, "few"))
    assert [entry(table, count) for count in (12, 10, 9, 3, 1)] == ["many", "many", "few", "few", "few"]


def section_of(*statuses: int) -> Section:
    section = Section(1)
    for status in statuses:
        section.add(status, 40 if status in (QUIET, RISE, TONE) else None, -5000)
    return section


@pytest.mark.parametrize(
    ("statuses", "verdict", "reasons"),
    [
        ([QUIET] * 5, "quiet", []),
        ([QUIET] * 5 + [RISE], "hiss", []),
        ([QUIET] * 5 + [TONE], "tone", []),
        ([QUIET] * 5 + [TONE, RISE], "hiss", []),
        ([QUIET] * 4 + [GUSTY], "quiet", []),
        ([QUIET] * 3 + [GUSTY] * 2, "retry", ["gusty"]),
        ([RISE] * 4, "retry", ["too_short"]),
        ([QUIET] * 3 + [CLIPPED] * 2, "retry", ["clipped"]),
        ([QUIET] * 9 + [DEAD], "retry", ["microphone_fault"]),
        ([NO_BACKGROUND] * 5, "retry", ["no_background"]),
        ([NOISY] * 5, "retry", ["noisy"]),
    ],
)
def test_verdicts(statuses: list[int], verdict: str, reasons: list[str]) -> None:
    found, mask = section_of(*statuses).verdict()
    assert names.HISS_VERDICTS[found] == verdict
    assert names.words_of(names.REASONS, mask) == reasons


def test_the_highest_rise_counts() -> None:
    section = Section(1)
    for rise_cdb in (10, 250, 40, None):
        section.add(QUIET, rise_cdb, -5000)
    assert (section.above_cdb, section.level_cdb) == (250, -4750)


def test_tones_are_kept_once_at_their_loudest() -> None:
    section = Section(1)
    for hz, level_cdb in ((30_000, -4000), (30_400, -3000), (50_000, -5000), (30_100, -3500)):
        section.tones.keep(hz, level_cdb)
    assert section.tones.rows() == [(30_400, -3000), (50_000, -5000)]
    assert section.loudest() == (30_400, -3000)
    for n in range(20):
        section.tones.keep(20_000 + 2_000 * n, -6000)
    assert section.tones.count == 8


@pytest.mark.parametrize(("status", "verdict"), [(QUIET, "retry"), (RISE, "hiss")])
def test_a_pause_leaves_a_hiss_and_no_quiet(status: int, verdict: str) -> None:
    section = section_of(*[status] * 6)
    section.pauses = 1
    found, mask = section.verdict()
    assert names.HISS_VERDICTS[found] == verdict
    assert names.words_of(names.REASONS, mask) == (["samples_lost"] if verdict == "retry" else [])


@pytest.mark.parametrize("status", [QUIET, RISE, TONE])
def test_lost_samples_spoil_a_section(status: int) -> None:
    section = section_of(*[status] * 6)
    section.lost = 1
    assert section.verdict() == (names.RETRY, names.mask_of(names.REASONS, ["samples_lost"]))


def test_every_status_has_its_word() -> None:
    assert STATUSES[NO_BACKGROUND] == "no_background" and len(set(STATUSES)) == 8
