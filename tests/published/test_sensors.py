"""Published data of parking sensors through the firmware: what is within a data sheet passes, and is measured right."""

from collections.abc import Iterator

import numpy as np
import pytest
from curbtick.yard.ear import faults
from curbtick.yard.scenes.scenes import Scene, single_scene
from curbtick.yard.sounds.sensors import Sensor, decay_us_of_bandwidth
from curbtick.yard.sounds.sources import irregular
from curbtick.yard.sounds.waves import Wave
from curbtick_probe.bumper.result import bumper_result
from curbtick_wire import names
from curbtick_wire.names import INPUT_LOW, PASS, RETRY

from tests.bench.yard import simple_ways
from tests.unit.probe.bumper.readingdata import LIMIT_SET, Prober, Reading

TO_20_DB = np.log(10.0)


@pytest.fixture(scope="module")
def prober() -> Iterator[Prober]:
    with Prober() as made:
        yield made


def scene_of(sensor: Sensor, interval_ms: float = 200.0, **scene: object) -> Scene:
    return single_scene(sensor.class_khz, sensor=sensor, interval_ms=interval_ms, seed=3, **scene)  # type: ignore[arg-type]


def take(prober: Prober, sensor: Sensor, interval_ms: float = 200.0, **scene: object) -> Reading:
    return prober.take(scene_of(sensor, interval_ms, **scene).ear, sensor.class_khz)


def assert_passes(reading: Reading, sensor: Sensor) -> None:
    """PASS, with the numbers of the sound that reaches the microphone: the collar's reflections are in it."""
    truth = scene_of(sensor).truth.burst
    assert truth is not None
    assert (reading.verdict, reading.reasons) == (PASS, [])
    assert reading.values["frequency_hz"] == pytest.approx(truth.frequency_hz, abs=150)
    assert reading.values["frequency_hz"] == pytest.approx(sensor.resonance_hz, abs=300)
    assert reading.values["level_cdb"] == pytest.approx(-800, abs=50)
    assert 0.9 * truth.ringdown_least_us <= reading.values["ringdown_us"] <= 1.1 * truth.ringdown_most_us


@pytest.mark.parametrize("frequency_hz", [43_000.0, 45_500.0, 48_000.0, 50_500.0, 53_000.0])
def test_48_khz_sensors_operate_within_5_khz(prober: Prober, frequency_hz: float) -> None:
    """Operating frequency 48 +/- 5 kHz (service information of several vehicle makers' parking aids)."""
    assert_passes(take(prober, Sensor(48, frequency_hz)), Sensor(48, frequency_hz))


@pytest.mark.parametrize("frequency_hz", [39_000.0, 40_000.0, 41_000.0])
@pytest.mark.parametrize("cycles", [8, 16])
def test_closed_face_40_khz_parts(prober: Prober, frequency_hz: float, cycles: int) -> None:
    """40.0 +/- 1.0 kHz, -6 dB bandwidth 2.0 kHz (two makers' data sheets of closed-face parts); 8 or 16 cycles."""
    sensor = Sensor(40, frequency_hz, cycles=cycles, decay_us=decay_us_of_bandwidth(2_000.0))
    assert_passes(take(prober, sensor), sensor)


def test_ringing_of_1_2_ms_is_in_order(prober: Prober) -> None:
    """Ringing up to 1.2 ms (the same data sheets), taken as the fall to -20 dB; a third as much again still passes."""
    for ringing_us in (1200.0, 1600.0):
        reading = take(prober, Sensor(40, 40_000.0, decay_us=ringing_us / TO_20_DB))
        assert reading.verdict == PASS
        assert reading.values["ringdown_us"] == pytest.approx(ringing_us, rel=0.15)


@pytest.mark.parametrize("cycles", [4, 16, 20])
def test_bursts_of_4_to_20_cycles(prober: Prober, cycles: int) -> None:
    """4 cycles (68 us) and 16 (273 us) at 58.6 kHz are presets of a driver IC's data sheet (SLASEC8); at most 20."""
    assert cycles / 58.6e3 == pytest.approx({4: 68e-6, 16: 273e-6, 20: 341e-6}[cycles], abs=1e-6)
    sensor = Sensor(58, 58_600.0, cycles=cycles, decay_us=120.0)
    assert_passes(take(prober, sensor), sensor)


@pytest.mark.parametrize(("sensors", "apart_ms"), [(4, 40.0), (6, 33.0), (4, 30.0)])
def test_single_tone_systems_fire_in_a_loop(prober: Prober, sensors: int, apart_ms: float) -> None:
    """30-40 ms between two sensors' bursts (US 12372643 B2): one repeats after 4 x 40 = 160, 6 x 33 = 200 ms."""
    interval_ms = sensors * apart_ms
    reading = take(prober, Sensor(48, 48_000.0), interval_ms, siblings=sensors - 1)
    assert_passes(reading, Sensor(48, 48_000.0))
    assert reading.values["interval_us"] == pytest.approx(1000 * interval_ms, abs=100)


def test_frequency_may_vary_from_pulse_to_pulse(prober: Prober) -> None:
    """US 2020/0072973 A1."""
    sensor = Sensor(58, 58_000.0, cycles=20, decay_us=60.0, offsets_hz=(-1_500.0, 0.0, 1_500.0))
    reading = take(prober, sensor)
    assert reading.verdict == PASS
    assert reading.values["frequency_hz"] == pytest.approx(58_000, abs=1_500)


def test_a_system_that_has_switched_itself_off_blames_no_sensor(prober: Prober) -> None:
    """Any detected fault switches the whole system off (makers' service manuals): all four are silent."""
    readings = [
        prober.take(single_scene(48, fault=faults.DEAD, siblings=0, seed=seed).ear, 48).values
        for seed in range(4)
    ]
    assert [values["verdict"] for values in readings] == [RETRY] * 4
    result, verdicts, _ = bumper_result(readings, LIMIT_SET)
    assert (result, verdicts) == (names.BUMPER_NOT_TRANSMITTING, [RETRY] * 4)


def test_200_ms_is_read_in_well_under_a_second(prober: Prober) -> None:
    """A burst about every 200 ms is common practice."""
    assert take(prober, Sensor(48, 48_000.0), 200.0).took_us < 800_000


@pytest.mark.parametrize("off_hz", [3_000.0, -3_000.0])
def test_a_40_khz_pick_up_is_nearly_blind_3_khz_away(prober: Prober, off_hz: float) -> None:
    """Common practice. The pick-up loses more than 8 dB on a burst of the same level, the firmware at most 0.5 dB."""
    seen_db, ours_db = [], []
    for frequency_hz in (40_000.0, 40_000.0 + off_hz):
        built = single_scene(40, sensor=Sensor(40, frequency_hz, cycles=20), siblings=0)
        signal = (built.ear.read(125_000, INPUT_LOW, 0).astype(float) - 2048) / simple_ways.FULL_SCALE
        seen_db.append(20 * np.log10(simple_ways.narrowband_40_khz(signal)))
        ours_db.append(prober.take(built.ear, 40).values["level_cdb"] / 100)
    assert seen_db[0] - seen_db[1] > 8.0
    assert ours_db[0] == pytest.approx(ours_db[1], abs=0.5)


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("length_ms", [3.0, 5.0, 8.0])
def test_a_bat_at_45_khz_never_passes_as_a_48_khz_sensor(prober: Prober, length_ms: float, seed: int) -> None:
    """Calls every 122 to 174 ms ending near 45 kHz, as a published recording has them: the hardest imposter."""
    random = np.random.default_rng(seed)
    ticks = np.arange(int(length_ms * 4_000))
    falling_hz = 45_000 + 25_000 * np.exp(-ticks / 4_000)
    shape = np.sin(np.pi * np.minimum(1.0, ticks / len(ticks))) ** 0.5
    call = Wave((2047.5 * shape * np.sin(2 * np.pi * np.cumsum(falling_hz) / 4e6)).astype(np.float32))
    times_ms = np.cumsum(random.uniform(122.0, 174.0, 100))
    bat = irregular("bat", (call,), times_ms, random, -8.0, spread_db=3.0)
    built = single_scene(48, fault=faults.DEAD, siblings=0, imposters=(bat,))
    assert prober.take(built.ear, 48).verdict != PASS
