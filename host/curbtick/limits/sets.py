"""Limit sets on the bench: stored by revision, checked for meaning, compared, written as text and read
back.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from curbtick_wire import classes, codec, settings
from curbtick_wire.errors import WireError
from sqlalchemy import Connection, func, select

from curbtick.errors import InputError
from curbtick.store import tables

LimitSet = dict[str, Any]
"""The form of `codec.unpack_limits`: the fields of LIMIT_SET without class_count, and `classes`."""

CLASS_FIELDS = tuple(name for name, *_ in settings.LIMIT_CLASS)
SET_FIELDS = tuple(name for name, *_ in settings.LIMIT_SET if name != "class_count")


@dataclass(frozen=True)
class Difference:
    """One value that two limit sets do not share; class_khz None for a value of the whole set."""

    class_khz: int | None
    field: str
    before: int | None
    after: int | None


def factory() -> LimitSet:
    """The set a probe judges by until a bench sends another."""
    return codec.factory_limits()


def for_class(limit_set: Mapping[str, Any], class_khz: int) -> dict[str, int] | None:
    """The limits of a class within a set, or None."""
    return next((row for row in limit_set["classes"] if row["class_khz"] == class_khz), None)


def check(limit_set: LimitSet) -> bytes:
    """The set packed for the probe. Raises InputError naming the value that makes no sense."""
    try:
        packed = codec.pack_limits(limit_set)
    except WireError as error:
        raise _refused(str(error)) from error
    seen: set[int] = set()
    for row in limit_set["classes"]:
        _check_class(row)
        if row["class_khz"] in seen:
            raise _refused(f"class {row['class_khz']} is given twice")
        seen.add(row["class_khz"])
    if limit_set["high_floor_min_cdb"] >= limit_set["high_floor_max_cdb"]:
        raise _refused("high_floor_min_cdb must lie below high_floor_max_cdb")
    if limit_set["high_floor_min_cdb"] < settings.LIVE_LEAST_CDB:
        least_db = settings.LIVE_LEAST_CDB / 100
        raise _refused(
            f"high_floor_min_cdb below {least_db:g} dBFS lets a missing microphone pass for a live one"
        )
    return packed


def _check_class(row: Mapping[str, int]) -> None:
    where = f"class {row['class_khz']}: "
    if not classes.is_class(row["class_khz"]):
        raise _refused(f"there is no class {row['class_khz']}")
    ordered = (
        ("dead_cdb", "pass_cdb"),
        ("neighbour_cdb", "dead_cdb"),
        ("interval_min_ms", "interval_max_ms"),
        ("ringdown_min_us", "ringdown_max_us"),
    )
    for low, high in ordered:
        if row[low] >= row[high]:
            raise _refused(f"{where}{low} ({row[low]}) must lie below {high} ({row[high]})")
    if row["dead_cdb"] < settings.DEAD_LEAST_CDB:
        least_db = settings.DEAD_LEAST_CDB / 100
        raise _refused(f"{where}dead_cdb below {least_db:g} dBFS lets a neighbour pass for the sensor")


def _refused(why: str) -> InputError:
    return InputError(
        f"The limit set makes no sense: {why}.",
        "It was not stored and nothing was sent.",
        "Correct it; `curbtick limits show` prints the set in force as an example.",
    )


def save(connection: Connection, limit_set: LimitSet, origin: str, at_ms: int) -> LimitSet:
    """Store a checked set under the next revision and return it with that revision."""
    numbered = {**limit_set, "revision": _next_revision(connection)}
    packed = check(numbered)
    row = {"revision": numbered["revision"], "made_ms": at_ms, "origin": origin, "payload": packed}
    connection.execute(tables.limit_sets.insert().values(**row))
    return numbered


def _next_revision(connection: Connection) -> int:
    highest = connection.scalar(select(func.max(tables.limit_sets.c.revision)))
    return max(int(highest or 0), settings.FACTORY_REVISION) + 1


def load(connection: Connection, revision: int | None = None) -> LimitSet:
    """A stored set by revision, or the newest; the factory set stands in where none is stored.

    Raises InputError for a revision that is not stored.
    """
    columns = tables.limit_sets.c
    query = select(columns.payload).order_by(columns.revision.desc()).limit(1)
    if revision is not None:
        query = query.where(columns.revision == revision)
    payload = connection.scalar(query)
    if payload is not None:
        return codec.unpack_limits(bytes(payload))
    if revision in (None, settings.FACTORY_REVISION):
        return factory()
    raise InputError(
        f"There is no limit set of revision {revision} in this history.",
        "Nothing was changed.",
        "`curbtick limits show --all` lists them.",
    )


def all_sets(connection: Connection) -> dict[int, LimitSet]:
    """Every set by revision, the factory set included."""
    by_revision = {settings.FACTORY_REVISION: factory()}
    for row in connection.execute(select(tables.limit_sets).order_by(tables.limit_sets.c.revision)):
        by_revision[row.revision] = codec.unpack_limits(bytes(row.payload))
    return by_revision


def differences(before: LimitSet, after: LimitSet) -> list[Difference]:
    """Every value that differs, the revision aside."""
    found = [
        Difference(None, name, before[name], after[name])
        for name in SET_FIELDS
        if name != "revision" and before[name] != after[name]
    ]
    classes = sorted({row["class_khz"] for row in (*before["classes"], *after["classes"])})
    for khz in classes:
        old, new = for_class(before, khz) or {}, for_class(after, khz) or {}
        found += [
            Difference(khz, name, old.get(name), new.get(name))
            for name in CLASS_FIELDS
            if old.get(name) != new.get(name)
        ]
    return found


def to_toml(limit_set: LimitSet) -> str:
    """The set as text that `from_toml` reads back."""
    lines = [f"{name} = {limit_set[name]}" for name in SET_FIELDS if name != "revision"]
    for row in limit_set["classes"]:
        lines += ["", "[[classes]]", *(f"{name} = {row[name]}" for name in CLASS_FIELDS)]
    return "\n".join(lines) + "\n"


def from_toml(text: str) -> LimitSet:
    """Read a set written by `to_toml`; revision is 1 until it is saved. Raises InputError."""
    try:
        fields = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise _refused(str(error)) from error
    limit_set: LimitSet = {"revision": settings.FACTORY_REVISION}
    for name in SET_FIELDS[1:]:
        limit_set[name] = _value(fields, name, "the set")
    classes = fields.get("classes")
    if not isinstance(classes, list) or not classes:
        raise _refused("it has no classes")
    limit_set["classes"] = [{name: _value(row, name, "a class") for name in CLASS_FIELDS} for row in classes]
    check(limit_set)
    return limit_set


def _value(fields: Mapping[str, Any], name: str, where: str) -> int:
    value = fields.get(name)
    if not isinstance(value, int) or isinstance(value, bool):
        raise _refused(f"{name} of {where} is {'missing' if value is None else 'no whole number'}")
    return value
