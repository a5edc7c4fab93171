"""Scenes: an Ear for one position of one bumper, and the truth about it.

    ear = scenes.single(class_khz=48, level_dbfs=-8, interval_ms=200, seed=1)

gives a healthy sensor with three siblings, quiet yard. Every figure is a keyword; see `single`.
"""

import numpy as np

from .acoustics import Air
from .collar import Inside, Seat, reflections
from .ear import Ear
from .faults import HEALTHY, Fault, ProbeState
from .frontend import Adc
from .measured import measure
from .noise import BANK, Broadband, Layer
from .sensors import Sensor, burst
from .sources import Source, regular
from .waves import Wave, with_taps


def wave_at_level(sensor: Sensor, offset_hz: float, level_dbfs: float, seat: Seat, inside: Inside, air: Air) -> Wave:
    """Return a sensor's burst in the collar, its level as measured on the low input being level_dbfs."""
    shape = Wave(with_taps(burst(sensor, offset_hz), reflections(inside, seat, air)))
    return shape.scaled(10.0 ** ((level_dbfs - measure(shape.behind()).level_dbfs) / 20.0))


def single(
    class_khz: int = 48,
    level_dbfs: float = -8.0,
    interval_ms: float = 200.0,
    seed: int = 1,
    frequency_hz: float | None = None,
    siblings: int = 3,
    sibling_dbfs: float = -50.0,
    fault: Fault = HEALTHY,
    noise_dbfs: float | None = None,
    probe: ProbeState | None = None,
    adc: Adc | None = None,
    phase_ms: float | None = None,
    **sensor_fields: object,
) -> Ear:
    """Return the Ear of one sensor in the collar.

    level_dbfs: the held sensor's level as heard, its fault's loss not yet taken off; siblings: how many others fire in
    turn within interval_ms, each at sibling_dbfs; noise_dbfs: a steady hiss, rms over 30-80 kHz, or None for a quiet
    yard; phase_ms: when the held sensor's first burst starts (drawn if None); sensor_fields: of sensors.Sensor.
    """
    random = np.random.default_rng(seed)
    centre_hz = frequency_hz if frequency_hz is not None else class_khz * 1e3
    built = Sensor(class_khz, centre_hz, **sensor_fields)  # type: ignore[arg-type]
    first_ms = float(random.uniform(0.0, interval_ms)) if phase_ms is None else phase_ms
    air, seat, inside = Air(), Seat(), Inside()
    sources: list[Source] = []
    if not fault.silent:
        held = fault.of(built)
        waves = tuple(
            wave_at_level(held, offset, level_dbfs - fault.loss_db, seat, inside, air) for offset in held.offsets_hz
        )
        sources.append(regular("held", waves, interval_ms, first_ms, random, missing=fault.missing))
    neighbour = (wave_at_level(built, 0.0, sibling_dbfs, seat, inside, air),)
    for turn in range(1, siblings + 1):
        at_ms = first_ms + interval_ms * turn / (siblings + 1)
        sources.append(regular(f"sibling {turn}", neighbour, interval_ms, at_ms, random))
    layers: list[Layer] = []
    if noise_dbfs is not None:
        layers.append(Broadband("hiss", noise_dbfs, int(random.integers(BANK))))
    return Ear(tuple(sources), tuple(layers), probe, adc, seed)
