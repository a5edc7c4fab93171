"""The bench redoes a reading's numbers with scipy from the snippet that the firmware kept."""

from collections.abc import Iterator

import numpy as np
import pytest
from curbtick.sound import snippet as waves
from curbtick.yard.ear import faults
from curbtick.yard.scenes.scenes import single_scene
from curbtick_wire.classes import CLASSES_KHZ
from curbtick_wire.names import INPUT_PADDED

from tests.unit.probe.bumper.readingdata import Prober, Reading


@pytest.fixture(scope="module")
def prober() -> Iterator[Prober]:
    with Prober() as made:
        yield made


def snippet_of(reading: Reading) -> waves.Snippet:
    assert reading.snippet is not None
    return waves.decode(*reading.snippet, padded=reading.values["input"] == INPUT_PADDED)


@pytest.mark.parametrize("class_khz", CLASSES_KHZ)
@pytest.mark.parametrize("level_dbfs", [3.0, -4.0, -12.0, -25.0, -34.0])
def test_level_and_frequency_agree_with_scipys(prober: Prober, class_khz: int, level_dbfs: float) -> None:
    """Within 0.5 dB and 150 Hz, the bounds of a reading.

    Half a step of the cut samples and three sigma of the noise, which lifts scipy's unsmoothed peak, come on top.
    """
    built = single_scene(class_khz, level_dbfs=level_dbfs, seed=class_khz)
    reading = prober.take(built.ear, class_khz)
    snippet = snippet_of(reading)
    heard = zip(reading.heard["level_cdb"], reading.heard["evidence_cdb"], strict=True)
    strongest = max(level for level, evidence in heard if evidence > 1390)
    peak = waves.FULL_SCALE_CODES * 10 ** (strongest / 2000)
    sigma = 10 ** ((reading.values["noise_cdb"] - strongest) / 2000) / 2**0.5
    doubt_db = 20 * np.log10(1 + snippet.step_codes / 2 / peak + 3 * sigma)
    assert waves.envelope_db(snippet).max() == pytest.approx(strongest / 100, abs=0.5 + doubt_db)
    noise_hz = 100 if level_dbfs < -30 else 0
    assert waves.centre_hz(snippet) == pytest.approx(reading.values["frequency_hz"], abs=150 + noise_hz)


def test_the_snippet_begins_before_the_strongest_burst(prober: Prober) -> None:
    built = single_scene(48, level_dbfs=-20.0)
    reading = prober.take(built.ear, 48)
    snippet = snippet_of(reading)
    envelope = waves.envelope_db(snippet)
    rise = int(np.flatnonzero(envelope >= envelope.max() - 6.02)[0])
    starts_us = np.array(reading.heard["time_us"])
    nearest_us = np.abs(starts_us - (snippet.start_us + rise * 4)).min()
    assert nearest_us <= 30
    assert 60 <= rise <= 84


def test_the_envelope_covers_the_whole_reading(prober: Prober) -> None:
    """Its loudest steps are the bursts; they show less than their level, for they are shorter than its smoothing."""
    reading = prober.take(single_scene(48, level_dbfs=-20.0).ear, 48)
    snippet = snippet_of(reading)
    covered_us = len(snippet.envelope_db) * snippet.envelope_step_us
    assert covered_us == pytest.approx(
        1000 * reading.values["listened_ms"], abs=snippet.envelope_step_us + 1000
    )
    loudest = snippet.envelope_db.max()
    assert -27.0 < loudest <= -20.0
    loud = np.count_nonzero(snippet.envelope_db > loudest - 6.0)
    assert reading.values["burst_count"] <= loud <= 2 * reading.values["burst_count"]


def test_a_silent_reading_has_no_snippet(prober: Prober) -> None:
    reading = prober.take(single_scene(48, fault=faults.DEAD, siblings=0).ear, 48)
    assert reading.snippet is None and reading.sounds == ()
