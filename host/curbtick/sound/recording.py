"""Reading a mono WAV file as floats of full scale, with an error that says what is wrong with it."""

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np
import soundfile
from numpy.typing import NDArray

from curbtick.errors import InputError

MIN_RATE_HZ = 160_000
SUBTYPES = ("PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")

# A program that records to a pipe cannot know the size when it writes the header, and leaves this.
_UNKNOWN_SIZE = 0xFFFFFFFF
# The name "RIFF" and the size itself, which count only what follows them.
_RIFF_HEADER = struct.Struct("<4sI")
_AGAIN = "Record or copy it again."


@dataclass(frozen=True)
class Recording:
    """A mono recording.

    samples: float64, 1.0 being full scale.
    rate_hz: samples a second.
    """

    samples: NDArray[np.float64]
    rate_hz: int

    @property
    def duration_s(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate_hz


def read_wav(path: Path) -> Recording:
    """Read a mono WAV (16, 24 or 32 bit integer, or float) of at least MIN_RATE_HZ. Raises InputError."""
    try:
        with path.open("rb") as file:
            _check_size(path, file)
            return _read(path, file)
    except OSError as error:
        raise _bad(path, f"cannot be read: {error.strerror}", "Name a file that exists.") from error


def _bad(path: Path, why: str, next_step: str) -> InputError:
    return InputError(f"{path} {why}.", "No reading was made.", next_step)


def _not_wav(path: Path) -> InputError:
    return _bad(path, "is not a WAV file", "Give a RIFF/WAVE file with PCM or float samples.")


def _check_size(path: Path, file: BinaryIO) -> None:
    """Refuse a file that is shorter than its header says: libsndfile would read what is there without a word."""
    actual_size = path.stat().st_size
    header = file.read(_RIFF_HEADER.size)
    file.seek(0)
    if not header:
        raise _bad(path, "is empty", _AGAIN)
    if len(header) < _RIFF_HEADER.size or not header.startswith(b"RIFF"):
        raise _not_wav(path)
    following = _RIFF_HEADER.unpack(header)[1]
    full_size = _RIFF_HEADER.size + following
    if actual_size < full_size and following != _UNKNOWN_SIZE:
        raise _bad(path, f"is truncated: it has {actual_size} of {full_size} bytes", _AGAIN)


def _read(path: Path, file: BinaryIO) -> Recording:
    try:
        with soundfile.SoundFile(file) as sound:
            _check_format(path, sound)
            samples: NDArray[np.float64] = sound.read(dtype="float64")
            rate_hz = int(sound.samplerate)
    except soundfile.LibsndfileError as error:
        raise _not_wav(path) from error
    if not len(samples):
        raise _bad(path, "holds no samples", _AGAIN)
    if not np.all(np.isfinite(samples)):
        raise _bad(path, "holds samples that are not numbers", "Export it again from its source.")
    return Recording(samples, rate_hz)


def _check_format(path: Path, sound: soundfile.SoundFile) -> None:
    if sound.format not in ("WAV", "WAVEX"):
        raise _not_wav(path)
    if sound.channels != 1:
        raise _bad(path, f"has {sound.channels} channels", "Give one channel alone, as a mono file.")
    if sound.samplerate < MIN_RATE_HZ:
        why = f"has {sound.samplerate} samples a second, too slow for sounds up to 80 kHz"
        raise _bad(path, why, f"Record with at least {MIN_RATE_HZ} samples a second.")
    if sound.subtype not in SUBTYPES:
        why = f"holds samples of a kind that is not read here ({sound.subtype})"
        raise _bad(path, why, "Save it as 16, 24 or 32 bit integers, or as float.")
