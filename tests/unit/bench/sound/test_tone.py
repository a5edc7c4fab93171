"""The seal check's tone: the file, its limits, and the trade-off behind its default frequency."""

import wave
from pathlib import Path

import numpy as np
import pytest
from curbtick.errors import InputError
from curbtick.sound import tone
from curbtick_probe.app.meters.meter import SealMeter
from curbtick_probe.panel.panel import Panel
from curbtick_wire import settings
from curbtick_wire.sampling import TONE_HZ

from tests.paths import NOTES
from tests.target.board.doubles.fake_board import FakeBoard


def heard(path: Path) -> tuple[np.ndarray, int]:
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth()) == (1, 2)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2"), file.getframerate()


@pytest.mark.parametrize(("hz", "level_dbfs"), [(10_000, -6.0), (15_000, -20.0), (20_000, 0.0)])
def test_the_file_holds_the_tone_at_its_level(tmp_path: Path, hz: int, level_dbfs: float) -> None:
    path = tmp_path / "tone.wav"
    tone.Tone(hz, level_dbfs, 4.0, 1.0).write(path)
    samples, rate_hz = heard(path)
    steady = samples[rate_hz : 3 * rate_hz] / 32768.0
    spectrum = 2 * np.abs(np.fft.rfft(steady)) / len(steady)
    assert np.argmax(spectrum) / 2 == hz
    assert abs(20 * np.log10(spectrum.max()) - level_dbfs) < 0.01
    spectrum[2 * hz] = 0.0
    assert 20 * np.log10(spectrum.max()) < level_dbfs - 60


def test_it_fades_in_and_out() -> None:
    made = tone.Tone(15_000, -6.0, 4.0, 1.0).samples.astype(float)
    peaks = np.abs(made).reshape(-1, tone.RATE_HZ // 100).max(axis=1)
    assert peaks[0] < 0.001 * peaks.max() and abs(peaks[50] / peaks.max() - 0.5) < 0.02
    assert np.all(np.diff(peaks[:100]) > 0) and np.all(np.diff(peaks[-50:]) < 0)
    assert abs(made[0]) < 1 and abs(made[-1]) < 10


@pytest.mark.parametrize(
    "refused",
    [
        {"frequency_hz": 9_900},
        {"frequency_hz": 20_100},
        {"frequency_hz": 15_050},
        {"level_dbfs": 0.1},
        {"level_dbfs": -61.0},
        {"duration_s": 0.5},
        {"fade_in_s": 0.0},
        {"duration_s": 4.0, "fade_in_s": 3.0},
    ],
)
def test_what_makes_no_sense_is_refused(refused: dict[str, float]) -> None:
    with pytest.raises(InputError) as caught:
        tone.Tone(**refused)  # type: ignore[arg-type]
    assert caught.value.next_step


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        tone.Tone(duration_s=1.0, fade_in_s=0.1).write(tmp_path / "missing" / "tone.wav")


def test_the_default_is_the_best_of_the_trade_off() -> None:
    assert tone.best_hz() == TONE_HZ
    assert all(tone.merit_db(hz) < tone.merit_db(TONE_HZ) for hz in (10_000, 12_000, 17_000, 20_000))


def test_the_probe_listens_for_the_default() -> None:
    board = FakeBoard()
    meter = SealMeter(board, Panel(board), settings.FACTORY_SET)
    assert meter._check.meter.tone_hz == TONE_HZ == tone.best_hz()


def test_each_term_goes_the_way_it_must() -> None:
    assert tone.gap_loss_db(20_000) == pytest.approx(2**0.5 * tone.gap_loss_db(10_000))
    assert tone.gap_loss_db(15_000, width_m=0.25e-3) == pytest.approx(2 * tone.gap_loss_db(15_000))
    assert tone.panel_loss_db(20_000) - tone.panel_loss_db(10_000) == pytest.approx(6.02, abs=0.01)
    assert tone.noise_db(20_000) == pytest.approx(-tone.NOISE_FALL_DB_PER_OCTAVE)
    assert tone.source_db(15_000) == pytest.approx(-3.01, abs=0.01)
    assert tone.source_db(16_000) < tone.source_db(15_000) - tone.CODEC_SLOPE_DB_PER_KHZ
    assert tone.relief_db(18_000) == tone.ANNOYANCE_MOST_DB
    assert tone.terms_db(10_000) == dict.fromkeys(tone.TERMS, 0.0)


def test_a_slit_passes_nothing_impossible() -> None:
    """Gomperts' averaged transmission: a narrow slit passes a few times its own area, and less when it is narrower."""
    wide, narrow = (tone.gap_transmission_db(15_000, width_m) for width_m in (1e-3, 0.1e-3))
    assert narrow < wide < 10.0


def test_the_notes_show_the_calculation() -> None:
    """The table of hardware_notes/tone_choice.md, number by number."""
    notes = (NOTES / "tone_choice.md").read_text()
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in notes.splitlines()
        if line[:3] == "| 1"
    ]
    rows += [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in notes.splitlines()
        if line[:3] == "| 2"
    ]
    assert [int(row[0]) for row in rows] == list(range(10_000, 20_001, 1_000))
    for row in rows:
        hz = int(row[0])
        computed = [*tone.terms_db(hz).values(), tone.merit_db(hz)]
        assert [float(cell) for cell in row[1:]] == pytest.approx(computed, abs=0.051)
    assert f"{TONE_HZ} Hz unless told otherwise" in notes
