"""Readings of single scenes by the real firmware on a virtual probe: verdicts, reasons, times, what is logged."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from curbtick.virtual.probe.bus import Ear
from curbtick.yard.ear import faults
from curbtick.yard.ear.probe_state import PROBE_FAULTS, ProbeState
from curbtick.yard.front_end import inputs
from curbtick.yard.front_end.timebase import ticks_of_ms
from curbtick.yard.scenes.build import Neighbour
from curbtick.yard.scenes.scenes import single_scene
from curbtick.yard.sounds.sensors import Sensor
from curbtick.yard.sounds.sources import Fade
from curbtick_wire import names
from curbtick_wire.classes import CLASSES_KHZ
from curbtick_wire.names import DEAD, INPUT_HIGH, INPUT_LOW, INPUT_PADDED, PASS, RETRY, WEAK

from tests.unit.probe.bumper.readingdata import NO_MEMORY, NO_STACK, Inputs, Prober, Reading

USUAL_MS, SLOW_MS = 1_300, 2_750


@pytest.fixture(scope="module")
def prober() -> Iterator[Prober]:
    with Prober() as made:
        yield made


def take(prober: Prober, class_khz: int = 48, *, before_us: int = 0, **scene: object) -> Reading:
    """A reading of single_scene."""
    built = single_scene(class_khz, **scene)  # type: ignore[arg-type]
    return prober.take(built.ear, class_khz, before_us=before_us)


@pytest.mark.parametrize("class_khz", CLASSES_KHZ)
@pytest.mark.parametrize("interval_ms", [160.0, 200.0])
def test_a_healthy_sensor_passes_early(prober: Prober, class_khz: int, interval_ms: float) -> None:
    reading = take(prober, class_khz, interval_ms=interval_ms, seed=class_khz)
    assert (reading.verdict, reading.reasons) == (PASS, [])
    assert reading.values["level_cdb"] == pytest.approx(-800, abs=50)
    assert reading.values["frequency_hz"] == pytest.approx(1000 * class_khz, abs=150)
    assert reading.values["interval_us"] == pytest.approx(1000 * interval_ms, abs=100)
    assert reading.values["burst_count"] == reading.values["due_count"] >= 3
    assert reading.took_us < 800_000


@pytest.mark.parametrize(
    ("fault", "said", "reason"),
    [
        (faults.DEAD, DEAD, "only_neighbour"),
        (faults.weak(18.0), WEAK, "low_level"),
        (faults.weak(31.0), DEAD, "low_level"),
        (faults.off_frequency(-9_000.0), WEAK, "off_frequency"),
        (faults.off_frequency(9_000.0), WEAK, "off_frequency"),
        (faults.long_ringing(), WEAK, "odd_ringdown"),
        (faults.short_ringing(), WEAK, "odd_ringdown"),
        (faults.loose_contact(), WEAK, "irregular"),
        (faults.painted(18.0), WEAK, "low_level"),
        (faults.iced(18.0), WEAK, "low_level"),
    ],
    ids=lambda value: getattr(value, "kind", str(value)),
)
def test_each_fault_has_its_verdict_and_reason(
    prober: Prober, fault: faults.Fault, said: int, reason: str
) -> None:
    reading = take(prober, 58, fault=fault, interval_ms=150.0, seed=5)
    assert reading.verdict == said and reason in reading.reasons
    assert reading.took_us < 1_500_000


@pytest.mark.parametrize("missing", [(3,), (2, 3), (4,)])
def test_an_early_pass_never_comes_with_a_burst_missing(prober: Prober, missing: tuple[int, ...]) -> None:
    """Whatever bursts are missing among the first five, nothing is passed before the evidence is all in."""
    pattern = tuple(int(i not in missing) for i in range(64))
    built = single_scene(48, interval_ms=100.0, phase_ms=20.0, fault=replace(faults.HEALTHY, pattern=pattern))
    for start_us in (0, 100_000, 200_000):
        reading = prober.take(built.ear, 48, start_us=start_us)
        left = [i for i in missing if 20_000 + 100_000 * i > start_us]
        first = [i for i in range(64) if 20_000 + 100_000 * i > start_us]
        if left and left[0] - first[0] <= 2:
            assert reading.values["listened_ms"] > 1_200
        assert reading.verdict != WEAK


@pytest.mark.parametrize("before_us", [0, 200_000])
def test_silence_alone_is_no_verdict(prober: Prober, before_us: int) -> None:
    reading = take(prober, fault=faults.DEAD, siblings=0, before_us=before_us)
    assert (reading.verdict, reading.reasons) == (DEAD if before_us else RETRY, ["nothing_heard"])
    assert "front_end_live" in reading.proofs
    assert ("bumper_heard_before" in reading.proofs) is bool(before_us)
    assert reading.values["high_floor_cdb"] == pytest.approx(-4280, abs=100), (
        "the table's live floor is -42.8 dBFS"
    )


@pytest.mark.parametrize(
    ("positions", "slots"), [(4, (1,)), (4, (1, 2)), (6, (1, 2)), (6, (2, 3)), (6, (1, 3, 5))]
)
@pytest.mark.parametrize("interval_ms", [200.0, 380.0])
def test_any_sibling_above_the_noise_proves_a_dead_sensor(
    prober: Prober, positions: int, slots: tuple[int, ...], interval_ms: float
) -> None:
    sensor = Sensor(48, 48_000.0)
    others = tuple(Neighbour(sensor, -51.0, slot / positions) for slot in slots)
    reading = take(prober, fault=faults.DEAD, siblings=0, neighbours=others, interval_ms=interval_ms)
    assert (reading.verdict, reading.reasons) == (DEAD, ["only_neighbour"])
    assert "sibling_heard" in reading.proofs


@pytest.mark.parametrize("interval_ms", [300.0, 400.0, 490.0])
def test_a_slow_system_is_listened_to_for_longer(prober: Prober, interval_ms: float) -> None:
    good = take(prober, interval_ms=interval_ms, level_dbfs=-19.0, siblings=1)
    poor = take(prober, interval_ms=interval_ms, level_dbfs=-24.0, siblings=1)
    assert (good.verdict, poor.verdict) == (PASS, WEAK)
    for reading in (good, poor):
        assert USUAL_MS < reading.values["listened_ms"] <= SLOW_MS
        assert reading.values["burst_count"] >= 5
        assert reading.took_us < 3_000_000


class Knocked:
    """An ear beside which something knocks, beyond full scale, for 2 ms at one time."""

    def __init__(self, ear: Ear, knock_us: int) -> None:
        self._ear, self._knock_us = ear, knock_us

    def read(self, count: int, input: int, start_us: int) -> np.ndarray:
        """What the ear hears, and the knock."""
        codes = np.array(self._ear.read(count, input, start_us))
        times_us = start_us + 4 * np.arange(count)
        knocked = (times_us >= self._knock_us) & (times_us < self._knock_us + 2000)
        codes[knocked] = np.where(np.arange(count)[knocked] // 3 % 2, 4095, 0)
        return codes


@pytest.mark.parametrize("knock_ms", [100, 500, 540, 900, 1200])
@pytest.mark.parametrize("interval_ms", [200.0, 400.0])
def test_a_knock_that_clips_costs_a_reading_no_more_time_than_it_has(
    prober: Prober, knock_ms: int, interval_ms: float
) -> None:
    """A level below the early PASS, so that the reading lasts; a late knock is no sensor that is too loud."""
    built = single_scene(48, interval_ms=interval_ms, level_dbfs=-19.5)
    reading = prober.take(Knocked(built.ear, 1000 * knock_ms), 48)
    assert reading.took_us < (1_400_000 if interval_ms <= 250 else 2_900_000)
    if knock_ms > 520:
        assert (reading.verdict, reading.reasons) == (RETRY, ["clipped"])
    else:
        assert reading.verdict in (PASS, RETRY)


@pytest.mark.parametrize("decay_us", [4_000.0, 5_500.0, 8_000.0, 12_000.0])
def test_a_sensor_that_rings_on_and_on_is_not_called_dead(prober: Prober, decay_us: float) -> None:
    reading = take(prober, fault=faults.long_ringing(decay_us))
    assert reading.verdict in (WEAK, RETRY)
    assert reading.reasons in (["odd_ringdown"], ["not_a_burst"])


# Where the amplifiers stop: nominal, and at either end of all tolerances (curbtick.hardware.rails.stop_range_codes).
STOPS = [(38.0, 3983.0), (115.0, 3846.0), (2.0, 4068.0)]


@pytest.mark.parametrize("stops", STOPS)
@pytest.mark.parametrize("level_dbfs", [-2.0, -1.0, 0.0, 3.0])
def test_a_loud_sensor_is_heard_again_through_the_pad(
    prober: Prober, monkeypatch: pytest.MonkeyPatch, level_dbfs: float, stops: tuple[float, float]
) -> None:
    monkeypatch.setattr(inputs, "STOP_CODES", stops)
    reading = take(prober, level_dbfs=level_dbfs)
    assert (reading.verdict, reading.values["input"]) == (PASS, INPUT_PADDED)
    assert reading.values["level_cdb"] == pytest.approx(100 * level_dbfs, abs=50)
    assert reading.took_us < 1_500_000


@pytest.mark.parametrize("stops", STOPS)
def test_a_sensor_that_is_not_so_loud_needs_no_pad(
    prober: Prober, monkeypatch: pytest.MonkeyPatch, stops: tuple[float, float]
) -> None:
    monkeypatch.setattr(inputs, "STOP_CODES", stops)
    assert take(prober, level_dbfs=-3.5).values["input"] == INPUT_LOW


@pytest.mark.parametrize("stops", [(1300.0, 3983.0), (38.0, 2900.0), (1300.0, 2900.0)])
@pytest.mark.parametrize("class_khz", CLASSES_KHZ)
def test_an_amplifier_that_stops_beyond_all_tolerances_is_found(
    prober: Prober, monkeypatch: pytest.MonkeyPatch, stops: tuple[float, float], class_khz: int
) -> None:
    """Of the sensor 5 dB are lost, or more; the flatness of one burst does not show less for sure."""
    monkeypatch.setattr(inputs, "STOP_CODES", stops)
    reading = take(prober, class_khz, level_dbfs=-3.2)
    assert (reading.verdict, reading.reasons) == (RETRY, ["clipped"])


def test_what_clips_through_the_pad_too_is_retry(prober: Prober) -> None:
    reading = take(prober, level_dbfs=14.0)
    assert (reading.verdict, reading.reasons, reading.values["input"]) == (RETRY, ["clipped"], INPUT_PADDED)


@pytest.mark.parametrize("before_us", [0, 200_000])
@pytest.mark.parametrize("fault", [name for name in PROBE_FAULTS if name not in ("none", "battery_low")])
def test_a_broken_probe_neither_blames_nor_blesses(prober: Prober, fault: str, before_us: int) -> None:
    for sensor_fault in (faults.HEALTHY, faults.DEAD, faults.weak(15.0)):
        reading = take(prober, fault=sensor_fault, probe=ProbeState(fault), before_us=before_us)
        assert reading.verdict == RETRY
        assert reading.reasons == ["clipped" if fault == "clipped" else "microphone_fault"]


@pytest.mark.parametrize(("spread", "broken"), [(0, True), (3, True), (5, False)])
def test_a_converter_is_stuck_when_it_spans_three_codes(prober: Prober, spread: int, broken: bool) -> None:
    """The high input is live, so that nothing but the low one's codes can say so."""
    random = np.random.default_rng(1)
    low, high = 2000 + random.integers(0, spread + 1, 340_001), random.normal(2048, 20, 40_001)
    reading = prober.take(Inputs(low, high), before_us=200_000)
    assert (reading.reasons == ["microphone_fault"]) is broken


def test_samples_lost_while_the_probe_was_busy_spoil_the_reading(prober: Prober) -> None:
    built = single_scene(48)
    late = prober.take(built.ear, 48, stall=(60, 60_000))
    assert (late.verdict, late.reasons) == (RETRY, ["samples_lost"])
    kept_up = prober.take(built.ear, 48, stall=(60, 20_000))
    assert kept_up.verdict == PASS


def test_samples_lost_while_the_high_input_is_heard_spoil_the_reading(prober: Prober) -> None:
    """The low input's listening is over after 316 blocks; what a silent place then hears is the microphone's floor."""
    silent = single_scene(48, fault=faults.DEAD, siblings=0)
    whole = prober.take(silent.ear, 48, before_us=200_000)
    assert (whole.verdict, whole.reasons) == (DEAD, ["nothing_heard"])
    late = prober.take(silent.ear, 48, before_us=200_000, stall=(4, 60_000), stalled_input=INPUT_HIGH)
    assert (late.verdict, late.reasons) == (RETRY, ["samples_lost"])


@pytest.mark.parametrize("lacks", [NO_MEMORY, NO_STACK])
@pytest.mark.parametrize("stalled_input", [INPUT_LOW, INPUT_HIGH])
def test_memory_that_runs_out_while_listening_is_no_fault_of_the_microphone(
    prober: Prober, stalled_input: int, lacks: int
) -> None:
    silent = single_scene(48, fault=faults.DEAD, siblings=0)
    late = prober.take(silent.ear, 48, before_us=200_000, stall=(4, lacks), stalled_input=stalled_input)
    assert (late.verdict, late.reasons) == (RETRY, ["samples_lost"])
    assert prober.take(silent.ear, 48, before_us=200_000).verdict == DEAD


def test_a_reading_listens_with_the_heap_locked_and_leaves_it_unlocked(prober: Prober) -> None:
    """Of a silent place, which the high input is heard at as well; and of one where memory runs out."""
    silent = single_scene(48, fault=faults.DEAD, siblings=0)
    for stall in ((-1, 0), (4, NO_MEMORY), (4, NO_STACK)):
        reading = prober.take(silent.ear, 48, before_us=200_000, stall=stall)
        assert reading.unlocked_blocks == 0
        assert reading.locked_after == 0


def test_a_low_battery_is_told_without_listening(prober: Prober) -> None:
    reading = prober.take(single_scene(48).ear, 48, battery_min_mv=6000)
    assert (reading.verdict, reading.reasons, reading.took_us) == (RETRY, ["battery_low"], 0)
    assert reading.snippet is None and reading.sounds == ()


@pytest.mark.parametrize(("noise_dbfs", "said"), [(-27.0, RETRY), (-33.0, PASS)])
def test_too_much_noise_is_told(prober: Prober, noise_dbfs: float, said: int) -> None:
    reading = take(prober, noise_dbfs=noise_dbfs)
    assert reading.verdict == said
    assert reading.reasons == (["noisy"] if said == RETRY else [])
    assert reading.values["noise_cdb"] == pytest.approx(100 * noise_dbfs, abs=60)


def test_a_probe_that_slips_is_told(prober: Prober) -> None:
    fade = Fade(ticks_of_ms(600.0), 10.0 ** (-12.0 / 20.0), ticks_of_ms(20.0))
    reading = take(prober, level_dbfs=-19.0, fade=fade, phase_ms=10.0)
    assert (reading.verdict, reading.reasons) == (RETRY, ["moved"])


def test_every_kept_sound_is_named_and_lies_within_the_reading(prober: Prober) -> None:
    reading = take(prober, level_dbfs=-23.0, sibling_dbfs=-45.0)
    rows = [
        np.frombuffer(tail, dtype=np.dtype("<u2,<i2,<u2,<u2,u1"), count=values["count"])
        for values, tail in reading.sounds
    ]
    sounds = np.concatenate(rows)
    kinds = [names.SOUND_KINDS[kind] for kind in sounds["f4"]]
    assert kinds.count("held") == reading.values["burst_count"]
    assert kinds.count("sibling") >= 15
    times_us = sounds["f0"].astype(int) * 50
    assert (np.diff(times_us) >= 0).all() and times_us[-1] < reading.values["listened_ms"] * 1000
    held = sounds[[kind == "held" for kind in kinds]]
    assert np.median(held["f1"]) == pytest.approx(reading.values["level_cdb"], abs=1)


def test_the_same_probe_gives_the_same_answer_again(prober: Prober) -> None:
    """A reading leaves nothing behind that the next one could trip over."""
    before = take(prober, level_dbfs=-23.0)
    take(prober, fault=faults.DEAD, siblings=0)
    take(prober, level_dbfs=14.0)
    after = take(prober, level_dbfs=-23.0)
    assert after.values == before.values
