"""The seal check's logic over a meter that says what the test wants."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pytest
from curbtick_probe.seal import check as seal
from curbtick_probe.seal.check import SealCheck
from curbtick_probe.seal.meter import ToneMeter, bits_over, noise_limit
from curbtick_wire import codec, names, records
from hypothesis import given
from hypothesis import strategies as st

from tests.target.board.doubles.fake_board import FakeBoard, FakeCapture

LIMITS = {"revision": 7, "seal_leak_cdb": 2400}
HEADER = {"seq": 1, "boot": 1, "ticks_ms": 0}


@dataclass
class Sound:
    """What one update hears: the tone's level (None: nothing), beside it noise, both dBFS * 100 of the high input."""

    level_cdb: int | None
    noise_cdb: int = -9000
    offset_uhz: int = 20_000_000
    clipped: bool = False
    dead: bool = False


class FakeMeter(ToneMeter):  # type: ignore[misc]
    """Plays sounds instead of measuring: the real meter but for its ear. The low input hears them 40 dB fainter."""

    def __init__(self, sounds: list[Sound], board: FakeBoard, tone_hz: int) -> None:
        super().__init__(board.capture, tone_hz)
        self.sounds = sounds
        self.tracked: list[int] = []

    def search(self) -> None:
        super().search()
        self.tracked = []

    def track(self, offset_uhz: int) -> None:
        super().track(offset_uhz)
        self.tracked.append(offset_uhz)

    def settle(self) -> None:
        """There are no filters to fill."""

    def update(self) -> None:
        sound = self.sounds.pop(0)
        loss = 4000 if self.capture.source == names.INPUT_LOW else 0
        self.heard = sound.level_cdb is not None
        self.level_cdb = (sound.level_cdb if sound.level_cdb is not None else sound.noise_cdb) - loss
        self.noise_cdb = sound.noise_cdb - loss
        self.snr_cdb = self.level_cdb - self.noise_cdb
        self.clipped, self.dead = sound.clipped and not loss, sound.dead
        self.offset_uhz = sound.offset_uhz
        self.measured_hz = self.tone_hz + sound.offset_uhz // 1_000_000


Make = Callable[..., SealCheck]


def check_on(*sounds: Sound, **options: Any) -> SealCheck:
    board = FakeBoard()
    made = SealCheck(board, 15_000, LIMITS, **options)
    made.meter = FakeMeter(list(sounds), board, made.meter.tone_hz)
    return made


FREE = [Sound(-2000)] * 6


def section(check: SealCheck, updates: int) -> dict[str, Any]:
    check.start()
    for _ in range(updates):
        check.update()
    check.stop()
    values: dict[str, Any] = check.mark()
    return values


def reasons(values: dict[str, Any]) -> list[str]:
    return names.words_of(names.REASONS, values["reasons"])


@pytest.mark.parametrize(
    ("level_cdb", "verdict"), [(-3200, "leak"), (-4399, "leak"), (-4400, "tight"), (-6000, "tight")]
)
def test_a_section_between_two_references(level_cdb: int, verdict: str) -> None:
    check = check_on(*FREE, Sound(-7000), Sound(level_cdb), Sound(-7000), *FREE)
    assert check.reference() == [] and check.status == seal.HEARD
    waiting = section(check, 3)
    assert (waiting["verdict"], reasons(waiting)) == (0, ["no_reference"])
    (settled,) = check.reference()
    assert names.SEAL_VERDICTS[settled["verdict"]] == verdict and not settled["reasons"]
    assert settled["below_reference_cdb"] == -2000 - level_cdb
    assert settled["reference_after_cdb"] == -2000
    codec.encode_record(records.SEAL, HEADER, {**settled, "round_id": 1, "vehicle": 1})


def test_nothing_heard_is_tight_only_when_the_source_is_confirmed() -> None:
    silent = [Sound(None)] * 4
    confirmed = check_on(*FREE, *silent, *FREE)
    confirmed.reference()
    section(confirmed, 4)
    assert confirmed.reference()[0]["verdict"] == 1
    stopped = check_on(*FREE, *silent, *[Sound(None)] * 6)
    stopped.reference()
    section(stopped, 4)
    (settled,) = stopped.reference()
    assert settled["verdict"] == 0 and reasons(settled) == ["tone_lost"]


def test_a_source_that_changed_gives_no_verdict() -> None:
    check = check_on(*FREE, *[Sound(-5000)] * 3, *[Sound(-2400)] * 6)
    check.reference()
    section(check, 3)
    (settled,) = check.reference()
    assert settled["verdict"] == 0 and reasons(settled) == ["reference_changed"]


def test_the_bar_is_3_db_a_light_with_the_reference_at_its_top() -> None:
    levels = (-2000, -1000, -2299, -2300, -2600, -5500, -5700)
    check = check_on(*FREE, *(Sound(level) for level in levels))
    check.reference()
    leds = [check.update() for _ in levels]
    assert leds == [12, 12, 12, 11, 10, 1, 0]
    assert check.dot == 12


def test_a_lost_tone_is_said_within_a_second() -> None:
    check = check_on(*FREE, Sound(-3000), *[Sound(None)] * 5, Sound(-3000))
    check.reference()
    statuses = []
    for _ in range(7):
        check.update()
        statuses.append(check.status)
    assert statuses == [seal.HEARD] * 3 + [seal.LOST] * 3 + [seal.HEARD]
    assert (statuses.index(seal.LOST)) * 0.1966 < 1.0


def test_noise_that_hides_a_leak_is_no_tight_seal() -> None:
    loud = Sound(None, noise_cdb=-5400)
    check = check_on(*FREE, *[loud] * 4, *FREE)
    check.reference()
    section(check, 4)
    assert check.status in (seal.NOISY, seal.LOST)
    (settled,) = check.reference()
    assert settled["verdict"] == 0 and reasons(settled) == ["noisy"]


@pytest.mark.parametrize(
    ("sounds", "status", "why"),
    [
        ([Sound(None)] * 6, seal.LOST, "tone_lost"),
        ([Sound(-2000)] * 3 + [Sound(None)] * 3, seal.LOST, "tone_lost"),
        ([Sound(-2000), Sound(-3000)] * 3, seal.LOST, "tone_lost"),
        ([Sound(-2000), Sound(-2000, offset_uhz=60_000_000)] * 3, seal.LOST, "tone_lost"),
        ([Sound(-2000, dead=True)] * 6, seal.DEAD, "microphone_fault"),
    ],
)
def test_a_reference_must_be_steady(sounds: list[Sound], status: int, why: str) -> None:
    check = check_on(*sounds, *[Sound(-3000)] * 3)
    check.reference()
    assert check.status == status and check.reference_cdb is None
    values = section(check, 3)
    assert values["verdict"] == 0 and reasons(values) == [why]


def test_the_low_input_serves_where_the_high_one_clips() -> None:
    loud = Sound(300, clipped=True)
    check = check_on(*[loud] * 6, loud, Sound(-3000), Sound(-3000))
    check.reference()
    assert check.reference_cdb == 300 and check.status == seal.HEARD
    check.start()
    assert check.update() == 12
    check.update()
    assert check.board.capture.source == names.INPUT_HIGH
    assert check.update() == 12 - 3300 // 300
    check.stop()


def test_without_another_input_clipping_is_said() -> None:
    check = check_on(*[Sound(300, clipped=True)] * 9, switch_input=False)
    check.reference()
    assert check.status == seal.CLIPPED
    values = section(check, 3)
    assert reasons(values) == ["clipped"]


class LateCapture(FakeCapture):
    """A capture that lost a block by the time a test says so."""

    lost_from = 0

    @property
    def overruns(self) -> int:
        return int(self._board.now_ms >= self.lost_from)

    @overruns.setter
    def overruns(self, value: int) -> None:
        """Counted by the time alone."""


def losing_check(lost_from: int, *sounds: Sound) -> SealCheck:
    """A check whose samples are lost from the meter's update of that number on."""
    check = check_on(*sounds)
    late = LateCapture(check.board)
    late.lost_from = lost_from
    check.board.capture = check.capture._capture = late
    heard = check.meter.update

    def update() -> None:
        heard()
        check.board.now_ms += 1

    check.meter.update = update
    return check


@pytest.mark.parametrize("level_cdb", [-3000, -6000])
def test_lost_samples_spoil_a_section(level_cdb: int) -> None:
    check = losing_check(8, *FREE, *[Sound(level_cdb)] * 4, *FREE)
    check.reference()
    check.board.now_ms = 6
    section(check, 4)
    check.board.capture.lost_from = 100
    (settled,) = check.reference()
    assert settled["verdict"] == 0 and reasons(settled) == ["samples_lost"]
    assert (settled["blocks_lost"], settled["collections"]) == (1, 0)


def test_lost_samples_spoil_a_reference() -> None:
    check = losing_check(3, *FREE, *[Sound(-6000)] * 4)
    check.reference()
    assert check.reference_cdb is None and check.status == seal.NO_REFERENCE
    check.board.capture.lost_from = 100
    assert reasons(section(check, 4)) == ["samples_lost"]


@pytest.mark.parametrize(("level_cdb", "verdict", "why"), [(-3000, 2, []), (-6000, 0, ["samples_lost"])])
def test_a_pause_leaves_a_leak_and_no_tight_seal(level_cdb: int, verdict: int, why: list[str]) -> None:
    check = check_on(*FREE, *[Sound(level_cdb)] * 4, *FREE)
    check.reference()
    check.pause()
    section(check, 4)
    (settled,) = check.reference()
    assert (settled["verdict"], reasons(settled)) == (verdict, why)


def test_a_section_of_one_update_is_too_short() -> None:
    check = check_on(*FREE, Sound(-3000), *FREE)
    check.reference()
    section(check, 1)
    (settled,) = check.reference()
    assert settled["verdict"] == 0 and reasons(settled) == ["too_short"]


def test_sections_are_numbered_and_settled_in_their_order() -> None:
    check = check_on(*FREE, *[Sound(-3000)] * 2, *[Sound(-6000)] * 2, *FREE)
    check.reference()
    assert [section(check, 2)["section"], section(check, 2)["section"]] == [1, 2]
    settled = check.reference()
    assert [(v["section"], v["verdict"]) for v in settled] == [(1, 2), (2, 1)]
    assert check.section.number == 3


def test_more_sections_than_can_wait_stay_without_a_verdict() -> None:
    many = seal.SECTIONS_MAX + 2
    check = check_on(*FREE, *[Sound(-3000)] * (2 * many), *FREE)
    check.reference()
    marked = [section(check, 2) for _ in range(many)]
    assert {values["verdict"] for values in marked} == {0}
    assert len(check.reference()) == seal.SECTIONS_MAX


@pytest.mark.parametrize("hz", [9_900, 20_100, 15_050])
def test_a_tone_that_cannot_be_heard_is_refused(hz: int) -> None:
    with pytest.raises(ValueError, match="steps of 100"):
        SealCheck(FakeBoard(), hz, LIMITS)


@given(st.integers(0, (1 << 30) - 1), st.integers(256, 511))
def test_the_noise_limit_is_the_product_and_stays_a_small_integer(noise: int, threshold_q5: int) -> None:
    limit = noise_limit(noise, threshold_q5)
    assert limit < 1 << 30
    exact = noise * threshold_q5 / 32
    if exact < 1 << 29:
        assert limit == pytest.approx(exact, rel=1e-3, abs=1)
    else:
        assert limit >= 1 << 28


@given(st.integers(0, 1 << 40), st.integers(1, 1 << 20))
def test_bits_over(value: int, most: int) -> None:
    bits = bits_over(value, most)
    assert value >> bits <= most and (bits == 0 or value >> (bits - 1) > most)


SOUNDS = st.builds(
    Sound,
    st.none() | st.integers(-12000, 600),
    st.integers(-15000, -1000),
    st.integers(-100_000_000, 100_000_000),
    st.booleans(),
    st.booleans(),
)


@given(st.lists(SOUNDS, min_size=40, max_size=40), st.integers(0, 10), st.integers(0, 10))
def test_any_sounds_give_records_that_fit(sounds: list[Sound], first: int, second: int) -> None:
    check = check_on(*sounds)
    check.reference()
    marked = [section(check, first), section(check, second)]
    for values in marked + check.reference():
        assert 0 <= check.leds <= 12 and 0 <= check.dot <= 12
        assert (values["verdict"] == 0) == (values["reasons"] != 0)
        codec.encode_record(records.SEAL, HEADER, {**values, "round_id": 1, "vehicle": 1})


def test_the_meter_tracks_within_its_cells() -> None:
    meter = ToneMeter(FakeBoard(), 20_000)
    for offset_uhz in (-100_000_000, 0, 100_000_000):
        meter.track(offset_uhz)
        assert 2 <= meter._first <= meter._last <= 366
