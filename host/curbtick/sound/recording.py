"""Reading a mono WAV file as floats of full scale, with an error that says what is wrong with it.

Chunk layout: "Multimedia Programming Interface and Data Specifications 1.0" (IBM and Microsoft, 1991), with the
extensible format's sub-format in place of its tag (Microsoft, 2001); both from memory.
"""

import struct
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from curbtick.errors import InputError

MIN_RATE_HZ = 160_000

_PCM, _FLOAT, _EXTENSIBLE = 1, 3, 0xFFFE
_UNKNOWN_SIZE = 0xFFFFFFFF
_FORMAT_SIZE = 16
_SUBFORMAT_OFFSET = 24


@dataclass(frozen=True)
class Recording:
    """A mono recording: samples as float64, 1.0 being full scale, at rate_hz."""

    samples: NDArray[np.float64]
    rate_hz: int

    @property
    def duration_s(self) -> float:
        """How long it lasts."""
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True)
class _Format:
    tag: int
    channels: int
    rate_hz: int
    bits: int


def read_wav(path: Path) -> Recording:
    """Read a mono WAV (16, 24 or 32 bit integer, or float) of at least MIN_RATE_HZ. Raises InputError."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise _bad(path, f"cannot be read: {error.strerror}", "Name a file that exists.") from error
    chunks = _chunks(path, data)
    form = _format(path, chunks)
    _check_format(path, form)
    return Recording(_samples(path, form, chunks["data"]), form.rate_hz)


def _bad(path: Path, why: str, next_step: str) -> InputError:
    return InputError(f"{path} {why}.", "No reading was made.", next_step)


_AGAIN = "Record or copy it again."


def _chunks(path: Path, data: bytes) -> dict[str, bytes]:
    """Cut a RIFF file into its chunks by name; the first of a name counts."""
    if not data:
        raise _bad(path, "is empty", _AGAIN)
    if len(data) < 12 or data[:4] != b"RIFF" or data[8:12] != b"WAVE":
        raise _bad(path, "is not a WAV file", "Give a RIFF/WAVE file with PCM or float samples.")
    chunks: dict[str, bytes] = {}
    offset = 12
    while offset + 8 <= len(data):
        name = data[offset : offset + 4].decode("latin-1")
        (size,) = struct.unpack_from("<I", data, offset + 4)
        body = data[offset + 8 : offset + 8 + size]
        if len(body) < size != _UNKNOWN_SIZE:
            raise _bad(path, f"is truncated: its {name!r} part has {len(body)} of {size} bytes", _AGAIN)
        chunks.setdefault(name, body)
        offset += 8 + size + size % 2
    for name in ("fmt ", "data"):
        if name not in chunks:
            raise _bad(path, f"is truncated: it has no {name!r} part", _AGAIN)
    return chunks


def _format(path: Path, chunks: dict[str, bytes]) -> _Format:
    body = chunks["fmt "]
    if len(body) < _FORMAT_SIZE:
        raise _bad(path, "is truncated inside its format", _AGAIN)
    tag, channels, rate_hz, _, _, bits = struct.unpack_from("<HHIIHH", body)
    if tag == _EXTENSIBLE and len(body) >= _SUBFORMAT_OFFSET + 2:
        (tag,) = struct.unpack_from("<H", body, _SUBFORMAT_OFFSET)
    return _Format(tag, channels, rate_hz, bits)


def _check_format(path: Path, form: _Format) -> None:
    if form.channels != 1:
        raise _bad(path, f"has {form.channels} channels", "Give one channel alone, as a mono file.")
    if form.rate_hz < MIN_RATE_HZ:
        why = f"has {form.rate_hz} samples a second, too slow for sounds up to 80 kHz"
        raise _bad(path, why, f"Record with at least {MIN_RATE_HZ} samples a second.")
    if (form.tag, form.bits) not in _DECODERS:
        why = f"holds samples of a kind that is not read here (format {form.tag}, {form.bits} bit)"
        raise _bad(path, why, "Save it as 16, 24 or 32 bit integers, or as float.")


def _int24(body: bytes) -> NDArray[np.float64]:
    parts = np.frombuffer(body, dtype=np.uint8).reshape(-1, 3)
    wide = np.zeros((len(parts), 4), dtype=np.uint8)
    wide[:, 1:] = parts
    return wide.view("<i4")[:, 0].astype(np.float64) / 2.0**31


_DECODERS: dict[tuple[int, int], Callable[[bytes], NDArray[np.float64]]] = {
    (_PCM, 16): lambda body: np.frombuffer(body, dtype="<i2").astype(np.float64) / 2.0**15,
    (_PCM, 24): _int24,
    (_PCM, 32): lambda body: np.frombuffer(body, dtype="<i4").astype(np.float64) / 2.0**31,
    (_FLOAT, 32): lambda body: np.frombuffer(body, dtype="<f4").astype(np.float64),
    (_FLOAT, 64): lambda body: np.frombuffer(body, dtype="<f8").astype(np.float64),
}


def _samples(path: Path, form: _Format, body: bytes) -> NDArray[np.float64]:
    width = form.bits // 8
    if not body:
        raise _bad(path, "holds no samples", _AGAIN)
    if len(body) % width:
        raise _bad(path, "is truncated inside a sample", _AGAIN)
    samples = _DECODERS[form.tag, form.bits](body)
    if not np.all(np.isfinite(samples)):
        raise _bad(path, "holds samples that are not numbers", "Export it again from its source.")
    return samples
