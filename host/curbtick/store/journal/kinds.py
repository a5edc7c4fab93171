"""The kinds of entries: what each one's payload holds, and which subjects an entry concerns.

A payload that does not fit its schema, of a newer program for one, is kept and carried as it came; it changes nothing.
"""

import json
from collections.abc import Callable, Mapping
from typing import Any

from curbtick_wire import names

Check = Callable[[Any], bool]

_BIG = 1 << 62
_REF = 32


def _text(value: Any) -> bool:
    if not isinstance(value, str) or "\0" in value:
        return False
    try:
        value.encode()
    except UnicodeEncodeError:
        return False
    return True


def _whole(low: int = -_BIG, high: int = _BIG) -> Check:
    return lambda value: isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def _flag(value: Any) -> bool:
    return isinstance(value, bool)


def _hex(length: int) -> Check:
    return lambda value: (
        isinstance(value, str) and len(value) == length and not set(value) - set("0123456789abcdef")
    )


def _maybe(check: Check) -> Check:
    return lambda value: value is None or check(value)


def _list(check: Check) -> Check:
    return lambda value: isinstance(value, list) and all(map(check, value))


def _row(*checks: Check) -> Check:
    return lambda value: (
        isinstance(value, list)
        and len(value) == len(checks)
        and all(check(one) for check, one in zip(checks, value, strict=True))
    )


def _pairs(value: Any) -> bool:
    return isinstance(value, dict) and all(
        _ref(old) and _ref(new) and old != new for old, new in value.items()
    )


def _bytes(value: Any) -> bool:
    return isinstance(value, str) and len(value) % 2 == 0 and not set(value) - set("0123456789abcdef")


_ref = _hex(_REF)
_ms = _whole()
_number, _log = _whole(0, (1 << 32) - 1), _whole(0, (1 << 32) - 1)
_bumper, _position, _class = _whole(0, 1), _whole(0, 6), _whole(0, 255)
_fit = _row(_position, _class)
_reading = _row(_text, _log, _number)
_span = _row(_number, _number)

SCHEMAS: dict[str, dict[str, Check]] = {
    "vehicle_entered": {
        "name": _text,
        "type": _maybe(_text),
        "depot": _maybe(_text),
        "is_reference": _flag,
        **dict.fromkeys(names.BUMPERS, _fit),
    },
    "vehicle_renamed": {"vehicle": _ref, "name": _text},
    "vehicle_refitted": {"vehicle": _ref, "bumper": _bumper, "fit": _fit},
    "vehicle_retired": {"vehicle": _ref},
    "same_as": {"vehicle": _ref, "other": _ref},
    "round_made": {
        "number": _number,
        "name": _maybe(_text),
        "technician": _maybe(_text),
        "vehicles": _list(_row(_ref, _fit, _fit)),
    },
    "round_sent": {"probe": _text, "log_id": _log, "number": _number},
    "limits_made": {"revision": _number, "origin": _maybe(_text), "payload": _bytes},
    "limits_accepted": {"probe": _text, "log_id": _log, "revision": _number},
    "readings_assigned": {
        "readings": _list(_row(_reading, _ref, _bumper, _position)),
        "why": _maybe(_text),
    },
    "swapped": {"vehicle": _ref, "bumper": _bumper, "positions": _row(_position, _position)},
    "step_done": {
        "finding": _reading,
        "last": _maybe(_reading),
        "vehicle": _ref,
        "bumper": _bumper,
        "position": _position,
        "step": _text,
        "note": _maybe(_text),
    },
    "probe_described": {"probe": _text, "name": _maybe(_text), "depot": _maybe(_text)},
    "bench_placed": {"bench": _text, "depot": _text},
    "pulled": {
        "probe": _text,
        "log_id": _log,
        "bench": _text,
        "spans": _list(_span),
        "covered": _list(_span),
        "new": _number,
        "doubled": _number,
        "anchors": _list(_row(_number, _ms, _ms, _ms)),
    },
    "records_proved": {"probe": _text, "log_id": _log, "spans": _list(_span), "digests": _bytes},
    "forked": {"moved": _pairs},
    "undone": {"entry": _ref},
}
"""By kind, what each field of the payload must be. A payload has exactly these fields.

vehicle, other, entry: the digest in hex of the entry that entered the vehicle, or that is undone. rear, front, fit:
positions and class in kHz. A reading is named by probe, log id and number. spans: numbers that the pull brought;
covered: numbers of which the probe has no more records than these. digests: of records whose probe proved itself
the first 8 bytes of each one's digest, in the order of the spans. anchors: boot, ticks in ms, time in ms, uncertainty
in ms. moved: by the digest of an entry of a fork that of the entry under its new origin.
"""


def understood(kind: str, payload: str) -> dict[str, Any] | None:
    """The values of a payload; None for a kind that is not known or a payload that does not fit it."""
    schema = SCHEMAS.get(kind)
    try:
        values = json.loads(payload)
    except (ValueError, RecursionError):
        return None
    if schema is None or not isinstance(values, dict) or values.keys() != schema.keys():
        return None
    return values if all(check(values[name]) for name, check in schema.items()) else None


def subjects(kind: str, ref: str, values: Mapping[str, Any] | None) -> list[str]:
    """What an entry concerns: the fold of each of these reads it.

    `e` and a digest: that entry itself or its being undone; `v`: the vehicle that this entry entered; `n`: an entry
    that names this vehicle; `r`, `l`: a round's number, a limit set's revision; `p`: a probe; `b`: a bench.
    """
    found = [f"e{ref}"]
    return [*found, "unknown"] if values is None else found + _MORE.get(kind, _none)(ref, values)


_Subjects = Callable[[str, Mapping[str, Any]], list[str]]


def _none(_ref: str, _values: Mapping[str, Any]) -> list[str]:
    return []


def _of_vehicle(_ref: str, values: Mapping[str, Any]) -> list[str]:
    return [f"v{values['vehicle']}"]


def _names_vehicle(_ref: str, values: Mapping[str, Any]) -> list[str]:
    return [f"n{values['vehicle']}"]


_MORE: dict[str, _Subjects] = {
    "vehicle_entered": lambda ref, values: [f"v{ref}"],
    "vehicle_renamed": _of_vehicle,
    "vehicle_refitted": _of_vehicle,
    "vehicle_retired": _of_vehicle,
    "same_as": lambda ref, values: [f"v{values['vehicle']}", f"v{values['other']}"],
    "round_made": lambda ref, values: [
        f"r{values['number']}",
        *(f"n{vehicle}" for vehicle in sorted({row[0] for row in values["vehicles"]})),
    ],
    "limits_made": lambda ref, values: [f"l{values['revision']}"],
    "readings_assigned": lambda ref, values: [
        f"n{vehicle}" for vehicle in sorted({row[1] for row in values["readings"]})
    ],
    "swapped": _names_vehicle,
    "step_done": _names_vehicle,
    "probe_described": lambda ref, values: [f"p{values['probe']}"],
    "bench_placed": lambda ref, values: [f"b{values['bench']}"],
    "undone": lambda ref, values: [f"e{values['entry']}"],
}
