"""Play recordings through the real firmware as one section of a seal check or of a hiss check."""

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from curbtick_wire import names, records, settings
from curbtick_wire.sampling import (
    BLOCK,
    FULL_SCALE_CODES,
    RATE_HZ,
    TONE_HIGHEST_HZ,
    TONE_LOWEST_HZ,
    TONE_STEP_HZ,
)
from numpy.typing import NDArray

from curbtick.device import firmware_folder
from curbtick.errors import InputError
from curbtick.sound.recording import Recording
from curbtick.virtual.probe.bus import Ear
from curbtick.virtual.probe.process import run_script
from curbtick.virtual.replay.resample import to_probe_rate
from curbtick.yard.front_end.inputs import Adc, Samples

UPDATE_SAMPLES = 48 * BLOCK
# The seal check's filters fill from so many samples before its first update.
SETTLE_SAMPLES = 5 * BLOCK
REFERENCE_UPDATES = 6
BACKGROUND_UPDATES_MIN = 4
BACKGROUND_UPDATES_MAX = 45


Codes = NDArray[np.float32]
_SCRIPT = Path("curbtick_probe") / "virtual" / "checks.py"
_MARKERS = (records.NONE_I16, records.NONE_I32)


class PlayedOnceEar:
    """Plays codes around zero from the first sample asked for, the same on every input; the ADC's noise is seeded."""

    def __init__(self, codes: Codes, seed: int) -> None:
        self._codes = codes
        self._adc = Adc()
        self._random = np.random.default_rng(seed)
        self._start_us: int | None = None

    def read(self, count: int, input: int, start_us: int) -> Samples:
        """Return the next samples, as bus.Ear says; past the end only the ADC's noise."""
        if self._start_us is None:
            self._start_us = start_us
        start = (start_us - self._start_us) * RATE_HZ // 1_000_000
        codes = self._random.standard_normal(count, dtype=np.float32) * np.float32(self._adc.noise_codes)
        part = self._codes[start : start + count]
        codes[: len(part)] += part
        return self._adc.convert(codes)


@dataclass
class Job:
    """One check on the virtual board: what it is given, and what is heard in each of its parts.

    mode: "seal" or "hiss".
    ears: what is heard by part: "section", and "before" and "after" where there are such parts.
    updates: how many updates of 196.6 ms each part takes (0: no such part).
    tone_hz: what the seal check listens for.
    limits: the limit set's own fields, without its classes.
    """

    mode: str
    ears: Mapping[str, Ear]
    updates: Mapping[str, int]
    tone_hz: int = 0
    limits: Mapping[str, int] = field(default_factory=lambda: settings.FACTORY_SET)

    def __post_init__(self) -> None:
        self._ear: Ear = self.ears["section"]
        self._result: dict[str, Any] = {}

    def read(self, count: int, input: int, start_us: int) -> NDArray[np.uint16]:
        """Return what the part in turn sounds like, as bus.Ear says."""
        return self._ear.read(count, input, start_us)

    def run(self) -> dict[str, Any]:
        """Run the real firmware over it; return what the script tells."""
        run_script(firmware_folder() / _SCRIPT, self, self._answer)
        return self._result

    def _answer(self, payload: bytes) -> bytes:
        outcome = json.loads(payload)
        if "ask" not in outcome:
            self._result = outcome
            return b"{}"
        if outcome["ask"] != "job":
            self._ear = self.ears[outcome["ask"]]
            return b"{}"
        parts = {part: self.updates.get(part, 0) for part in ("before", "section", "after")}
        return json.dumps(
            {"mode": self.mode, "tone_hz": self.tone_hz, "limits": dict(self.limits), **parts}
        ).encode()


def replay_seal(
    recording: Recording,
    tone_hz: int,
    *,
    reference: Recording | None = None,
    reference_after: Recording | None = None,
    gain_db: float = 0.0,
    seed: int = 1,
) -> dict[str, Any]:
    """Return the JSON object of one section of a seal check on a recording.

    tone_hz: 10000 to 20000 in steps of 100, else InputError. reference: the tone in free air before the section,
    reference_after: after it. Keys: verdict ("leak", "tight", "retry"), reasons, level_db (the loudest the tone got),
    noise_db (in 5.4 Hz beside it), tone_hz (measured), snr_db, below_reference_db; null where nothing was heard or
    there is no reference. The verdict is the probe's own: without a reference "retry" for no_reference, with one that
    it refuses "retry" for its reason against it. With a reference before alone, "tight" asks for the tone to be heard
    to the section's end, for a silent source is no tight seal; else it is "retry" for tone_lost, which a reference
    after the section settles.
    """
    check_tone(tone_hz)
    parts = {"before": reference, "section": recording, "after": reference_after if reference else None}
    codes = {part: _codes(heard, gain_db) for part, heard in parts.items() if heard is not None}
    updates = {part: updates_in(len(heard), SETTLE_SAMPLES) for part, heard in codes.items()}
    for part in ("before", "after"):
        if part in codes:
            updates[part] = _enough(min(updates[part], REFERENCE_UPDATES), 2, "reference", SETTLE_SAMPLES)
    outcome = Job("seal", _ears(codes, seed), updates, tone_hz).run()
    return seal_object(outcome)


def seal_object(outcome: Mapping[str, Any]) -> dict[str, Any]:
    """Return the JSON object of what the script tells of a seal check."""
    values = outcome["values"]
    return {
        "verdict": names.SEAL_VERDICTS[values["verdict"]],
        "reasons": names.words_of(names.REASONS, values["reasons"]),
        "level_db": _db(values["level_cdb"]),
        "noise_db": _db(values["noise_cdb"]),
        "tone_hz": values["measured_hz"] or None,
        "snr_db": _db(values["snr_cdb"]),
        "below_reference_db": _db(values["below_reference_cdb"]),
    }


def replay_hiss(
    recording: Recording, *, background: Recording | None = None, gain_db: float = 0.0, seed: int = 1
) -> dict[str, Any]:
    """Return the JSON object of one section of a hiss check on a recording.

    background: the place without the leak, at least 0.8 s (6.9 s as the probe takes it); without one the verdict is
    "retry". Keys: verdict ("hiss", "quiet", "tone", "retry"), reasons, level_db (of the band, at its highest over a
    second), noise_db (of the band in the background), above_background_db, band_hz ([low, high]), tones (a list of
    frequency_hz, level_db); null where nothing was measured.
    """
    parts = {"before": background, "section": recording}
    codes = {part: _codes(heard, gain_db) for part, heard in parts.items() if heard is not None}
    updates = {part: updates_in(len(heard), 0) for part, heard in codes.items()}
    if "before" in updates:
        most = min(updates["before"], BACKGROUND_UPDATES_MAX)
        updates["before"] = _enough(most, BACKGROUND_UPDATES_MIN, "background", 0)
    return hiss_object(Job("hiss", _ears(codes, seed), updates).run())


def hiss_object(outcome: Mapping[str, Any]) -> dict[str, Any]:
    """Return the JSON object of what the script tells of a hiss check."""
    values = outcome["values"]
    band_hz = [values["band_low_hz"], values["band_high_hz"]]
    return {
        "verdict": names.HISS_VERDICTS[values["verdict"]],
        "reasons": names.words_of(names.REASONS, values["reasons"]),
        "level_db": _db(values["level_cdb"]),
        "noise_db": _db(values["background_cdb"]),
        "above_background_db": _db(values["above_background_cdb"]),
        "band_hz": band_hz if band_hz[1] else None,
        "tones": [{"frequency_hz": hz, "level_db": cdb / 100} for hz, cdb in outcome["tones"]],
    }


def check_tone(tone_hz: int) -> None:
    """Raise InputError unless the seal check can listen for a tone."""
    if not TONE_LOWEST_HZ <= tone_hz <= TONE_HIGHEST_HZ or tone_hz % TONE_STEP_HZ:
        raise InputError(
            f"A tone of {tone_hz} Hz is not one the seal check listens for.",
            "Nothing was measured.",
            f"Give a frequency of {TONE_LOWEST_HZ} to {TONE_HIGHEST_HZ} Hz in steps of {TONE_STEP_HZ} Hz.",
        )


def updates_in(samples: int, settle: int) -> int:
    """Return how many whole updates fit a recording at the probe's rate, at least one."""
    return max(1, (samples - settle) // UPDATE_SAMPLES)


def _enough(updates: int, least: int, what: str, settle: int) -> int:
    if updates < least:
        seconds = (least * UPDATE_SAMPLES + settle) / RATE_HZ
        raise InputError(
            f"The {what} recording is too short.",
            "Nothing was measured.",
            f"Record at least {seconds:.1f} s of it.",
        )
    return updates


def _codes(recording: Recording, gain_db: float) -> Codes:
    full_scale = FULL_SCALE_CODES * 10.0 ** (gain_db / 20.0)
    codes: Codes = (to_probe_rate(recording) * full_scale).astype(np.float32)
    return codes


def _ears(codes: Mapping[str, Codes], seed: int) -> dict[str, Ear]:
    return {part: PlayedOnceEar(heard, seed + n) for n, (part, heard) in enumerate(codes.items())}


def _db(value_cdb: int) -> float | None:
    return None if value_cdb in _MARKERS else value_cdb / 100
