"""Readings as the bench holds them, and the queries that fetch them."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import Any

from curbtick_wire import names, records
from sqlalchemy import ColumnElement, Connection, Select, bindparam, select

from curbtick.errors import InputError
from curbtick.numbers import whole
from curbtick.sound import schema, snippet
from curbtick.store import tables
from curbtick.store.decode import tail_of
from curbtick.store.fold import rivals, times

FIELDS = tuple(column.name for column in tables.record_columns(records.READING))
# Where in a row of readings the measured columns stand.
_FIRST_FIELD = [column.name for column in tables.readings.columns].index(FIELDS[0])
_MEASURED = slice(_FIRST_FIELD, _FIRST_FIELD + len(FIELDS))


@cache
def _reasons(mask: int) -> tuple[str, ...]:
    """Reason ids of a mask; a report asks for the same few many thousand times."""
    return tuple(names.words_of(names.REASONS, mask))


@dataclass(frozen=True)
class Reading:
    """One reading.

    probe: name of the probe.
    time_ms: None in a boot without an anchor; sort_ms orders readings all the same.
    vehicle_id, bumper, position: where the bench holds it to belong; vehicle_id is None for no vehicle.
    superseded: whether the technician took it again.
    values: what the probe wrote, by the names of `curbtick_wire.records`.
    """

    id: int
    probe_id: int
    probe: str
    seq: int
    boot: int
    ticks_ms: int
    time_ms: int | None
    sort_ms: int
    vehicle_id: int | None
    bumper: int
    position: int
    superseded: bool
    values: dict[str, Any] = field(repr=False, hash=False, compare=False)

    @property
    def ref(self) -> str:
        """The name a user gives a reading by: probe and number."""
        return f"{self.probe}-{self.seq}"

    @property
    def verdict(self) -> str:
        """What the bar showed, as a word."""
        return names.VERDICTS[self.values["verdict"]]

    @property
    def reasons(self) -> list[str]:
        """Why, as reason ids."""
        return list(_reasons(self.values["reasons"]))

    @property
    def class_khz(self) -> int:
        """Sensor class it was judged by; 0 for a custom class."""
        return int(self.values["class_khz"])

    @property
    def level_db(self) -> float | None:
        """Level in dBFS, None where none was measured."""
        level_cdb = self.values["level_cdb"]
        return None if level_cdb is None else level_cdb / 100

    @property
    def place(self) -> tuple[int | None, int, int]:
        """(vehicle key, bumper, position) that the bench holds it to belong to."""
        return self.vehicle_id, self.bumper, self.position


def query(*where: ColumnElement[bool]) -> Select[Any]:
    """Readings with their probe's name."""
    return (
        select(tables.readings, tables.probes.c.name.label("probe"))
        .join(tables.probes, tables.probes.c.id == tables.readings.c.probe_id)
        .where(*where)
    )


def from_row(row: Any) -> Reading:
    """A row of `query` as a Reading."""
    return Reading(
        id=row.id,
        probe_id=row.probe_id,
        probe=row.probe,
        seq=row.seq,
        boot=row.boot,
        ticks_ms=row.ticks_ms,
        time_ms=row.time_ms,
        sort_ms=row.sort_ms,
        vehicle_id=row.vehicle_id,
        bumper=row.at_bumper,
        position=row.at_position,
        superseded=bool(row.superseded),
        values=dict(zip(FIELDS, row[_MEASURED], strict=True)),
    )


def fetch(connection: Connection, selected: Select[Any]) -> Iterator[Reading]:
    """Readings of a select made from `query`, fetched as they are used."""
    for row in connection.execute(selected, execution_options={"yield_per": 2000}):
        yield from_row(row)


# Readings of a boot without a time share their bound; a probe's own numbers order them, however they arrived.
_IN_ORDER = (tables.readings.c.sort_ms, tables.readings.c.probe_id, tables.readings.c.seq)


def since(connection: Connection, from_ms: int) -> Iterator[Reading]:
    """Readings from a time on, in order, fetched as they are used."""
    columns = tables.readings.c
    return fetch(connection, query(columns.sort_ms >= from_ms).order_by(*_IN_ORDER))


def between(connection: Connection, from_ms: int, to_ms: int) -> list[Reading]:
    """Readings from a time up to, not including, another, in order."""
    columns = tables.readings.c
    selected = query(columns.sort_ms >= from_ms, columns.sort_ms < to_ms)
    return list(fetch(connection, selected.order_by(*_IN_ORDER)))


_OF_PLACE = (
    query(
        tables.readings.c.vehicle_id == bindparam("vehicle_id"),
        tables.readings.c.at_bumper == bindparam("bumper"),
        tables.readings.c.at_position == bindparam("position"),
    )
    .order_by(*(column.desc() for column in _IN_ORDER))
    .limit(bindparam("newest"))
)


def of_place(
    connection: Connection, vehicle_id: int, bumper: int, position: int, newest: int = 1_000_000
) -> list[Reading]:
    """The newest so many readings of a place, oldest first."""
    place = {"vehicle_id": vehicle_id, "bumper": bumper, "position": position, "newest": newest}
    return [from_row(row) for row in connection.execute(_OF_PLACE, place)][::-1]


def by_ids(connection: Connection, ids: Iterable[int]) -> dict[int, Reading]:
    """Readings by key."""
    selected = query(tables.readings.c.id.in_(list(ids)))
    return {reading.id: reading for reading in fetch(connection, selected)}


def by_ref(connection: Connection, ref: str) -> Reading:
    """The reading a user names as PROBE-NUMBER, or by its number alone when one probe has it.

    Raises InputError.
    """
    probe, _, number = ref.rpartition("-")
    seq = whole(number)
    if seq is None:
        raise _unknown(ref)
    where = [tables.readings.c.seq == seq]
    if probe:
        where.append(tables.probes.c.name == probe)
    matches = list(fetch(connection, query(*where).limit(2)))
    if not matches:
        raise _unknown(ref)
    if len(matches) > 1:
        raise InputError(
            f"More than one probe has a reading {number}.",
            "Nothing was changed.",
            f"Name the probe as well, such as {matches[0].ref}.",
        )
    return matches[0]


def _unknown(ref: str) -> InputError:
    return InputError(
        f"There is no reading {ref}.",
        "Nothing was changed.",
        "A reading is named by its probe and number, as the report shows it, such as a1b2c3-17.",
    )


def from_seq(connection: Connection, first: Reading, count: int) -> list[Reading]:
    """So many readings of a probe from one on, in order, leaving out those that were taken again."""
    columns = tables.readings.c
    selected = query(
        columns.probe_id == first.probe_id, columns.seq >= first.seq, columns.superseded == 0
    ).order_by(columns.seq)
    return list(fetch(connection, selected.limit(count)))


def name_of(connection: Connection, reading: Reading) -> list[object]:
    """How entries name a reading: by its probe's unique id, the log id and its number."""
    probe = tables.probes.c
    row = connection.execute(select(probe.unique_id, probe.log_id).where(probe.id == reading.probe_id)).one()
    return [row.unique_id, row.log_id, reading.seq]


_BOOT = select(tables.boots).where(
    tables.boots.c.probe_id == bindparam("probe_id"), tables.boots.c.boot == bindparam("boot")
)


def time_uncertainty_ms(connection: Connection, reading: Reading) -> int | None:
    """One-sided uncertainty of a reading's time, None where the time is not known."""
    boot = connection.execute(_BOOT, {"probe_id": reading.probe_id, "boot": reading.boot}).one()
    if boot.offset_ms is None:
        return None
    return times.uncertainty_ms(boot.uncertainty_ms, reading.ticks_ms - boot.anchor_ticks_ms)


def _attached(table: Any) -> Select[Any]:
    """Rows of a table of records that name a reading, with their raw bytes."""
    record, probe = tables.records.c, tables.probes.c
    same = (
        (record.probe == probe.unique_id) & (record.log_id == probe.log_id) & (record.number == table.c.seq)
    )
    return (
        select(table, record.raw)
        .join(tables.probes, probe.id == table.c.probe_id)
        .join(tables.records, same)
        .where(table.c.probe_id == bindparam("probe_id"), table.c.reading_seq == bindparam("seq"))
        .order_by(table.c.seq)
    )


_SOUNDS, _SNIPPETS = _attached(tables.sounds), _attached(tables.snippets)
_SNIPPET_FIELDS = tuple(column.name for column in tables.record_columns(records.SNIPPET))


def _counting(connection: Connection, reading: Reading, attached: Select[Any]) -> list[Any]:
    """Rows of records that name a reading, with their raw bytes; of a number with two contents the one that counts."""
    values = {"probe_id": reading.probe_id, "seq": reading.seq}
    rows = list(connection.execute(attached, values).all())
    numbers = sorted({row.seq for row in rows})
    if len(numbers) == len(rows):
        return rows
    raws = set(rivals.counting(connection, reading.probe_id, numbers))
    return [row for row in rows if bytes(row.raw) in raws]


def sounds_of(connection: Connection, reading: Reading) -> list[dict[str, int]]:
    """Sound events of a reading, in the form of `records.SOUND`."""
    rows = _counting(connection, reading, _SOUNDS)
    return schema.sounds_of_parts(
        ({"first": row.first}, tail_of(bytes(row.raw), records.SOUNDS)) for row in rows
    )


def waves_of(connection: Connection, reading: Reading) -> snippet.Snippet | None:
    """The snippet of a reading as numbers, or None where the probe kept none."""
    row = next(iter(_counting(connection, reading, _SNIPPETS)), None)
    if row is None:
        return None
    fields = {name: row._mapping[name] for name in _SNIPPET_FIELDS}
    padded = reading.values["input"] == names.INPUT_PADDED
    return snippet.decode(fields, tail_of(bytes(row.raw), records.SNIPPET), padded=padded)


_NAME = select(tables.vehicles.c.name).where(tables.vehicles.c.id == bindparam("vehicle_id"))


def as_object(connection: Connection, reading: Reading) -> dict[str, Any]:
    """The JSON object of a reading: the schema's fields and where and when it was taken."""
    vehicle = connection.scalar(
        select(tables.vehicles.c.name).where(tables.vehicles.c.id == reading.vehicle_id)
    )
    return {
        "reading": reading.ref,
        "vehicle": vehicle,
        "bumper": names.BUMPERS[reading.bumper],
        "position": reading.position,
        "boot": reading.boot,
        "time_ms": reading.time_ms,
        "time_uncertainty_ms": time_uncertainty_ms(connection, reading),
        "limits_revision": reading.values["limits_revision"],
        "superseded": reading.superseded,
        **schema.reading_object(reading.values, sounds_of(connection, reading)),
    }


def names_of(connection: Connection, ids: Sequence[int]) -> dict[int, str]:
    """Names of vehicles by key."""
    columns = tables.vehicles.c
    return {
        r.id: r.name for r in connection.execute(select(columns.id, columns.name).where(columns.id.in_(ids)))
    }
