"""The JSON form of a reading, one schema for `reading --json`, `replay --json` and the demo's summary.json.

Built from the decoded record and its sounds; whatever the probe did not measure is null.
"""

import struct
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from curbtick_wire import names, records, sampling

SOUND_STRUCT = struct.Struct("<" + "".join(code for _, code, *_ in records.SOUND))
SOUND_NAMES = tuple(name for name, *_ in records.SOUND)

NUMBER_OR_NULL = {"type": ["number", "null"]}
MARKERS = (None, records.NONE_I16, records.NONE_I32, records.NONE_U32)


def _number(description: str, **bounds: float) -> dict[str, Any]:
    return {**NUMBER_OR_NULL, "description": description, **bounds}


BURST_SCHEMA: dict[str, Any] = {
    "type": "object",
    "additionalProperties": False,
    "required": ["time_ms", "level_db", "frequency_hz", "length_ms", "kind"],
    "properties": {
        "time_ms": {"type": "number", "minimum": 0, "description": "Start, from the reading's first sample."},
        "level_db": _number("Peak of the noise-corrected envelope over 30-80 kHz, dBFS."),
        "frequency_hz": _number("Spectral centre of the part within 6 dB of the peak.", minimum=0),
        "length_ms": _number("Time within 6 dB of the peak.", minimum=0),
        "kind": {"enum": list(names.SOUND_KINDS), "description": "Whose sound it is."},
    },
}

READING_SCHEMA: dict[str, Any] = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "title": "A reading",
    "type": "object",
    "required": [
        "verdict",
        "reasons",
        "class_khz",
        "level_db",
        "frequency_hz",
        "sweep_hz",
        "interval_ms",
        "burst_ms",
        "ringdown_ms",
        "noise_db",
        "burst_count",
        "time_to_verdict_ms",
        "bursts",
    ],
    "properties": {
        "verdict": {"enum": list(names.VERDICTS), "description": "What the bar showed."},
        "reasons": {
            "type": "array",
            "items": {"enum": list(names.REASONS)},
            "uniqueItems": True,
            "description": "Why, lowest bit first; empty for a plain pass.",
        },
        "class_khz": _number(
            "Sensor class it was judged by; null for a custom class.", minimum=30, maximum=80
        ),
        "level_db": _number("Median level over the held train's bursts, dBFS.", maximum=6),
        "frequency_hz": _number(
            "Median burst frequency of the held train.", minimum=0, maximum=sampling.RATE_HZ // 2
        ),
        "sweep_hz": _number("End minus start frequency, median over the held train."),
        "interval_ms": _number("Time between the held train's bursts.", minimum=0),
        "burst_ms": _number("Time within 6 dB of the peak, median over the held train.", minimum=0),
        "ringdown_ms": _number("Time from the peak to -20 dB, median over the held train.", minimum=0),
        "noise_db": _number("Rms over 30-80 kHz between bursts, dBFS.", maximum=6),
        "burst_count": {"type": "integer", "minimum": 0, "description": "Bursts of the held train."},
        "time_to_verdict_ms": _number("From press to verdict, the log's flash time included.", minimum=0),
        "bursts": {
            "type": "array",
            "items": BURST_SCHEMA,
            "description": "Every sound event of the reading, in time order.",
        },
    },
}


def sounds_of_tail(tail: bytes) -> list[dict[str, int]]:
    """Split a sounds record's tail into its entries, as dicts by the names of `records.SOUND`.

    A tail whose length is no multiple of an entry loses its last, partial entry.
    """
    whole = len(tail) // SOUND_STRUCT.size * SOUND_STRUCT.size
    return [dict(zip(SOUND_NAMES, entry, strict=True)) for entry in SOUND_STRUCT.iter_unpack(tail[:whole])]


def sounds_of_parts(parts: Iterable[tuple[Mapping[str, Any], bytes]]) -> list[dict[str, int]]:
    """Join the (values, tail) parts of one reading's sounds records, ordered by their `first`."""
    ordered = sorted(parts, key=lambda part: int(part[0]["first"]))
    return [sound for _, tail in ordered for sound in sounds_of_tail(tail)]


def reading_object(values: Mapping[str, Any], sounds: Sequence[Mapping[str, int]] = ()) -> dict[str, Any]:
    """Build the JSON object of a reading.

    values: fields of a reading record by their wire names; sounds: entries by the names of `records.SOUND`.
    Returns a dict that `READING_SCHEMA` describes.
    """
    return {
        "verdict": names.VERDICTS[values["verdict"]],
        "reasons": names.words_of(names.REASONS, values["reasons"]),
        "class_khz": _unless_zero(values["class_khz"]),
        "level_db": _scaled(values["level_cdb"], 100),
        "frequency_hz": _unless_zero(values["frequency_hz"]),
        "sweep_hz": _sweep_hz(values),
        "interval_ms": _scaled(_unless_zero(values["interval_us"]), 1000),
        "burst_ms": _scaled(_unless_zero(values["burst_us"]), 1000),
        "ringdown_ms": _scaled(_unless_zero(values["ringdown_us"]), 1000),
        "noise_db": _scaled(values["noise_cdb"], 100),
        "burst_count": int(values["burst_count"]),
        "time_to_verdict_ms": _unless_zero(values["time_to_verdict_ms"]),
        "bursts": [_burst_object(sound) for sound in sorted(sounds, key=lambda s: s["time_50us"])],
    }


def _sweep_hz(values: Mapping[str, Any]) -> int | None:
    """A sweep of 0 Hz is a measurement, but not where no frequency was measured."""
    if _unless_zero(values["frequency_hz"]) is None:
        return None
    return _measured(values["sweep_hz"])


def _burst_object(sound: Mapping[str, int]) -> dict[str, Any]:
    return {
        "time_ms": sound["time_50us"] / 20,
        "level_db": _scaled(sound["level_cdb"], 100),
        "frequency_hz": _unless_zero(sound["frequency_2hz"] * 2),
        "length_ms": _scaled(_unless_zero(sound["length_10us"]), 100),
        "kind": names.SOUND_KINDS[sound["kind"]],
    }


def _measured(value: int | None) -> int | None:
    return None if value in MARKERS else value


def _unless_zero(value: int | None) -> int | None:
    return _measured(value) or None


def _scaled(value: int | None, per_unit: int) -> float | None:
    measured = _measured(value)
    return None if measured is None else measured / per_unit
