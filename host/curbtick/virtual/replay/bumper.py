"""Play a WAV file through the real firmware as one bumper reading, from the file's start."""

import math
import tempfile
from pathlib import Path
from typing import Any

import numpy as np
from curbtick_wire import classes, names, records
from curbtick_wire.sampling import FULL_SCALE_CODES
from numpy.typing import NDArray

from curbtick.errors import CurbtickError, InputError
from curbtick.link.client import Client, connect
from curbtick.link.keyring import Keyring
from curbtick.link.replies import Record
from curbtick.sound import schema
from curbtick.sound.recording import Recording
from curbtick.virtual.probe.bus import READ, STEP
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.virtual.replay.resample import to_probe_rate
from curbtick.yard.ear.ear import Ear
from curbtick.yard.front_end.inputs import (
    BAND_SHARE,
    INPUTS,
    MICROPHONE_NOISE_DBFS,
    Adc,
    Samples,
    Volts,
    codes_of_rms_dbfs,
)
from curbtick.yard.front_end.timebase import TICKS_PER_SAMPLE


class PlayedLayer:
    """A recording as a lasting sound: at the ADC's full scale for the file's full scale and a gain of 0 dB.

    codes: float ADC codes around zero at 250 kS/s, from tick 0 on; silence after its end.
    """

    def __init__(self, codes: NDArray[np.float32]) -> None:
        self._codes = codes

    def add_to(self, block: Volts, start_tick: int, input_: int) -> None:
        """Add the recording to a block of samples that starts at a tick."""
        start = start_tick // TICKS_PER_SAMPLE
        part = self._codes[start : start + len(block)]
        block[: len(part)] += part * np.float32(10.0 ** (INPUTS[input_].gain_db / 20.0))

    def band_power(self, start_tick: int, end_tick: int) -> float:
        """Return its mean square over all frequencies; a recording is not known by band."""
        part = self._codes[start_tick // TICKS_PER_SAMPLE : end_tick // TICKS_PER_SAMPLE]
        return float(np.mean(np.square(part, dtype=np.float64))) if len(part) else 0.0


class QuietEar:
    """A quiet place for the self-test at power-up: white noise of the ADC and, on the high input, of the microphone."""

    def __init__(self, seed: int) -> None:
        self._adc = Adc()
        self._random = np.random.default_rng(seed)
        # White over the whole band, as loud within 30-80 kHz as the real, band-limited noise.
        microphone_codes = codes_of_rms_dbfs(MICROPHONE_NOISE_DBFS) / BAND_SHARE**0.5
        self._noise_codes = {
            input_: math.hypot(self._adc.noise_codes, microphone_codes if input_ == names.INPUT_HIGH else 0.0)
            for input_ in INPUTS
        }

    def read(self, count: int, input: int, start_us: int) -> Samples:
        """Return the next samples, as bus.Ear says."""
        white = self._random.standard_normal(count, dtype=np.float32)
        return self._adc.convert(white * np.float32(self._noise_codes[input]))


class PlayedEar:
    """Plays a recording from its start, at the first sample that is asked for; the ADC's noise is seeded."""

    def __init__(self, codes: NDArray[np.float32], seed: int) -> None:
        self._ear = Ear(layers=(PlayedLayer(codes),), seed=seed)
        self._start_us: int | None = None

    def read(self, count: int, input: int, start_us: int) -> Samples:
        """Return the next samples, as bus.Ear says."""
        if self._start_us is None:
            self._start_us = start_us
        return self._ear.read(count, input, start_us - self._start_us)


def parse_class(text: str) -> int | None:
    """Return the class in kHz of a user's word, None for `auto`. Raises InputError."""
    if text == "auto":
        return None
    if text in [str(khz) for khz in classes.CLASSES_KHZ]:
        return int(text)
    raise InputError(
        f"There is no class {text}.",
        "No reading was made.",
        f"Choose one of {classes.class_list()} or auto.",
    )


def replay(
    recording: Recording, *, class_khz: int | None = None, gain_db: float = 0.0, seed: int = 1
) -> dict[str, Any]:
    """Return the JSON object (schema.READING_SCHEMA) of a reading of a recording.

    class_khz: a class of classes.CLASSES_KHZ, or None for the nearest one, which judges no frequency.
    """
    codes = (to_probe_rate(recording) * (FULL_SCALE_CODES * 10.0 ** (gain_db / 20.0))).astype(np.float32)
    with tempfile.TemporaryDirectory(prefix="curbtick-") as folder:
        return _read(Path(folder), PlayedEar(codes, seed), class_khz, seed)


def _read(folder: Path, ear: PlayedEar, class_khz: int | None, seed: int) -> dict[str, Any]:
    keyring = Keyring(folder / "keys.json")
    with VirtualProbe(QuietEar(seed), folder / "flash", held=STEP if class_khz else 0) as probe:
        probe.run_until_idle()
        if class_khz:
            with connect(probe.pty_path, keyring) as client:
                client.pair("replay")
                client.send_round(_round_of(class_khz))
        probe.run_until_idle()
        probe.ear = ear
        probe.press(READ)
        probe.run_until_idle()
        with connect(probe.pty_path, keyring) as client:
            return reading_from(client)


def _round_of(class_khz: int) -> dict[str, Any]:
    vehicle = {"vehicle": 1, "rear_positions": 1, "rear_class_khz": class_khz}
    return {"round_id": 1, "vehicles": [{**vehicle, "front_positions": 0, "front_class_khz": 0}]}


def reading_from(client: Client) -> dict[str, Any]:
    """Return the JSON object of the newest reading on a probe."""
    held = list(client.records())
    readings = [record for record in held if record.kind == records.READING]
    if not readings:
        raise CurbtickError(
            "The probe made no reading.",
            "Nothing was measured.",
            "Report this, with the file that was played.",
        )
    return schema.reading_object(readings[-1].values, sounds_of(held, readings[-1].seq))


def sounds_of(held: list[Record], reading_seq: int) -> list[dict[str, int]]:
    """Return the sounds (schema's form) of a reading among the records pulled from its probe."""
    parts = [record for record in held if record.kind == records.SOUNDS]
    return schema.sounds_of_parts(
        (part.values, part.tail) for part in parts if part.values["reading_seq"] == reading_seq
    )
