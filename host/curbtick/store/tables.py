"""The schema of the history: plain SQLAlchemy tables that SQLite and PostgreSQL share.

The decoded tables' measured columns are derived from the record table of `curbtick_wire.records`, names and
units included. Times are whole milliseconds since 1970 UTC; a time that is not known is null, never a
guess.
"""

from typing import Any

from curbtick_wire import records
from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    SmallInteger,
    String,
    Table,
    Text,
    UniqueConstraint,
)

SCHEMA_VERSION = 1

metadata = MetaData()
Big = BigInteger().with_variant(Integer, "sqlite")
_SQL_TYPES: dict[str, Any] = {
    "b": SmallInteger,
    "B": SmallInteger,
    "h": SmallInteger,
    "H": Integer,
    "i": Integer,
    "I": Big,
}


def _key() -> Column[int]:
    return Column("id", Big, primary_key=True, autoincrement=True)


def _reference(name: str, target: str, nullable: bool = False) -> Column[int]:
    return Column(name, Big, ForeignKey(f"{target}.id"), nullable=nullable)


meta = Table("meta", metadata, Column("key", String(40), primary_key=True), Column("value", String(200)))

probes = Table(
    "probes",
    metadata,
    _key(),
    Column("unique_id", String(32), nullable=False),
    Column("life", Integer, nullable=False),
    Column("log_id", Big),
    Column("name", String(80), nullable=False, unique=True),
    Column("depot", String(80)),
    Column("first_seen_ms", Big, nullable=False),
    UniqueConstraint("unique_id", "life"),
)
"""One row for each life of a probe's log; a probe whose flash was wiped starts a new life.

log_id: what the probe calls that log; null where no pull has said so.
"""

pulls = Table(
    "pulls",
    metadata,
    _key(),
    _reference("probe_id", "probes"),
    Column("bench", String(80)),
    Column("at_ms", Big, nullable=False),
    Column("new_count", Integer, nullable=False),
    Column("doubled_count", Integer, nullable=False),
    Column("first_seq", Big),
    Column("last_seq", Big),
    Index("pulls_by_probe", "probe_id", "at_ms"),
)

benches = Table(
    "benches",
    metadata,
    _key(),
    Column("name", String(80), nullable=False, unique=True),
    Column("depot", String(80)),
    Column("first_seen_ms", Big, nullable=False),
)
"""The benches that pulled, by the name they give themselves, and the depot each stands in where it is known."""

runs = Table(
    "runs",
    metadata,
    _reference("probe_id", "probes"),
    Column("first_seq", Big, nullable=False),
    Column("last_seq", Big, nullable=False),
    PrimaryKeyConstraint("probe_id", "first_seq"),
)
"""The unbroken ranges of sequence numbers stored of each probe."""

boots = Table(
    "boots",
    metadata,
    _reference("probe_id", "probes"),
    Column("boot", Big, nullable=False),
    Column("offset_ms", Big),
    Column("anchor_ticks_ms", Big),
    Column("uncertainty_ms", Big),
    Column("not_before_ms", Big),
    Column("not_after_ms", Big, nullable=False),
    PrimaryKeyConstraint("probe_id", "boot"),
)
"""offset_ms is the time at tick 0, null in a boot without an anchor; then only the two bounds are known."""

anchors = Table(
    "anchors",
    metadata,
    _key(),
    _reference("probe_id", "probes"),
    Column("boot", Big, nullable=False),
    Column("ticks_ms", Big, nullable=False),
    Column("host_ms", Big, nullable=False),
    Column("uncertainty_ms", Big, nullable=False),
    UniqueConstraint("probe_id", "boot", "ticks_ms", "host_ms"),
)

log = Table(
    "log",
    metadata,
    _reference("probe_id", "probes"),
    Column("seq", Big, nullable=False),
    Column("boot", Big, nullable=False),
    Column("kind", SmallInteger, nullable=False),
    Column("raw", LargeBinary, nullable=False),
    PrimaryKeyConstraint("probe_id", "seq", "boot"),
)
"""Every record exactly as the probe wrote it."""


# What stands for "not measured" on the wire, by format; in the history it is null.
_MARKERS = {"h": records.NONE_I16, "i": records.NONE_I32}
# Fields where 0 is the probe's way of saying that there was nothing to measure.
_ZERO_IS_NONE = frozenset(("frequency_hz", "interval_us", "burst_us", "ringdown_us", "measured_hz"))


def _marker_of(name: str, letter: str) -> int | None:
    return 0 if name in _ZERO_IS_NONE else _MARKERS.get(letter)


def record_columns(kind: int) -> list[Column[int]]:
    """Columns of a record kind's fields; a repeated field becomes one numbered column for each value."""
    fields = next(entry[2] for entry in records.KINDS if entry[0] == kind)
    columns: list[Column[int]] = []
    for name, form, _, _ in fields:
        count = int(form[:-1] or 1)
        column_names = [name] if count == 1 else [f"{name}_{place}" for place in range(1, count + 1)]
        info = {"marker": _marker_of(name, form[-1])}
        columns += [Column(column, _SQL_TYPES[form[-1]], info=info) for column in column_names]
    return columns


def _decoded(name: str, kind: int, *extra: Column[int] | Index) -> Table:
    """A decoded table: key, origin, time, the kind's fields, then `extra`."""
    return Table(
        name,
        metadata,
        _key(),
        _reference("probe_id", "probes"),
        Column("seq", Big, nullable=False),
        Column("boot", Big, nullable=False),
        Column("ticks_ms", Big, nullable=False),
        Column("time_ms", Big),
        Column("sort_ms", Big, nullable=False),
        *record_columns(kind),
        *extra,
        UniqueConstraint("probe_id", "seq", "boot"),
        Index(f"{name}_by_time", "sort_ms"),
    )


readings = _decoded(
    "readings",
    records.READING,
    _reference("vehicle_id", "vehicles", nullable=True),
    Column("at_bumper", SmallInteger),
    Column("at_position", SmallInteger),
    Column("superseded", SmallInteger, nullable=False, default=0),
    Index("readings_by_place", "vehicle_id", "at_bumper", "at_position", "sort_ms"),
)
"""vehicle, bumper, position stay as the probe wrote them; vehicle_id, at_bumper, at_position say where the
bench holds the reading to belong.
"""

snippets = _decoded(
    "snippets",
    records.SNIPPET,
    Index("snippets_by_reading", "probe_id", "reading_seq"),
)
sounds = _decoded("sounds", records.SOUNDS, Index("sounds_by_reading", "probe_id", "reading_seq"))
bumper_results = _decoded(
    "bumper_results",
    records.BUMPER,
    _reference("vehicle_id", "vehicles", nullable=True),
    Index("bumper_results_by_place", "vehicle_id", "bumper", "sort_ms"),
)
seal_marks = _decoded("seal_marks", records.SEAL, _reference("vehicle_id", "vehicles", nullable=True))
hiss_marks = _decoded("hiss_marks", records.HISS, _reference("vehicle_id", "vehicles", nullable=True))
self_tests = _decoded("self_tests", records.SELF_TEST)
events = _decoded("events", records.EVENT)
crashes = _decoded("crashes", records.CRASH)

DECODED = {
    records.READING: readings,
    records.SNIPPET: snippets,
    records.SOUNDS: sounds,
    records.BUMPER: bumper_results,
    records.SEAL: seal_marks,
    records.HISS: hiss_marks,
    records.SELF_TEST: self_tests,
    records.EVENT: events,
    records.CRASH: crashes,
}

vehicles = Table(
    "vehicles",
    metadata,
    _key(),
    Column("name", String(80), nullable=False, index=True),
    Column("type", String(40)),
    Column("depot", String(80)),
    Column("is_reference", Boolean, nullable=False, default=False),
    Column("created_ms", Big, nullable=False),
    Column("retired_ms", Big),
    Column("note", Text),
)

vehicle_names = Table(
    "vehicle_names",
    metadata,
    _key(),
    _reference("vehicle_id", "vehicles"),
    Column("name", String(80), nullable=False, index=True),
    Column("until_ms", Big, nullable=False),
)
"""Names that a vehicle no longer goes by."""

bumpers = Table(
    "bumpers",
    metadata,
    _key(),
    _reference("vehicle_id", "vehicles"),
    Column("bumper", SmallInteger, nullable=False),
    Column("positions", SmallInteger, nullable=False),
    Column("class_khz", SmallInteger, nullable=False),
    Column("from_ms", Big, nullable=False),
    Index("bumpers_by_vehicle", "vehicle_id", "bumper", "from_ms"),
)
"""What a bumper carries from a time on; a retrofit adds a row."""

rounds = Table(
    "rounds",
    metadata,
    _key(),
    Column("number", Big, nullable=False, unique=True),
    Column("name", String(80)),
    Column("technician", String(80)),
    Column("made_ms", Big, nullable=False),
)

round_vehicles = Table(
    "round_vehicles",
    metadata,
    _reference("round_id", "rounds"),
    Column("place", SmallInteger, nullable=False),
    _reference("vehicle_id", "vehicles"),
    Column("rear_positions", SmallInteger, nullable=False),
    Column("rear_class_khz", SmallInteger, nullable=False),
    Column("front_positions", SmallInteger, nullable=False),
    Column("front_class_khz", SmallInteger, nullable=False),
    PrimaryKeyConstraint("round_id", "place"),
)

sends = Table(
    "sends",
    metadata,
    _key(),
    _reference("probe_id", "probes"),
    Column("what", String(10), nullable=False),
    Column("number", Big, nullable=False),
    Column("at_ms", Big, nullable=False),
    Column("above_seq", Big, nullable=False),
    Index("sends_by_number", "what", "number"),
)
"""Rounds that a probe was given and limit sets that it took.

what: "round" or "limits".
above_seq: the highest record that the probe had before it got a round; 0 for limits, which need none.
"""

limit_sets = Table(
    "limit_sets",
    metadata,
    _key(),
    Column("revision", Big, nullable=False, unique=True),
    Column("made_ms", Big, nullable=False),
    Column("origin", Text),
    Column("payload", LargeBinary, nullable=False),
)

assignments = Table(
    "assignments",
    metadata,
    _key(),
    Column("at_ms", Big, nullable=False),
    Column("by", String(80)),
    Column("why", Text),
    Column("undone_ms", Big),
)

assigned = Table(
    "assigned",
    metadata,
    _reference("assignment_id", "assignments"),
    _reference("reading_id", "readings"),
    _reference("old_vehicle_id", "vehicles", nullable=True),
    Column("old_bumper", SmallInteger),
    Column("old_position", SmallInteger),
    _reference("new_vehicle_id", "vehicles", nullable=True),
    Column("new_bumper", SmallInteger),
    Column("new_position", SmallInteger),
    PrimaryKeyConstraint("assignment_id", "reading_id"),
    Index("assigned_by_reading", "reading_id"),
)

findings = Table(
    "findings",
    metadata,
    _key(),
    _reference("vehicle_id", "vehicles"),
    Column("bumper", SmallInteger, nullable=False),
    Column("position", SmallInteger, nullable=False),
    Column("what", String(20), nullable=False),
    Column("reasons", Big, nullable=False, default=0),
    Column("state", String(10), nullable=False),
    Column("opened_ms", Big, nullable=False),
    Column("opened_by_id", Big),
    Column("proved_ms", Big),
    Column("proved_by_id", Big),
    Index("findings_by_place", "vehicle_id", "bumper", "position"),
    Index("findings_by_state", "state"),
)
"""position 0 is a finding about the whole bumper; what is "weak", "dead" or "not_transmitting"."""

steps = Table(
    "steps",
    metadata,
    _key(),
    _reference("finding_id", "findings"),
    Column("step", String(20), nullable=False),
    Column("at_ms", Big, nullable=False),
    Column("by", String(80)),
    Column("note", Text),
    Index("steps_by_finding", "finding_id"),
)
"""Work done or noted on a finding, in order."""

swaps = Table(
    "swaps",
    metadata,
    _key(),
    _reference("vehicle_id", "vehicles"),
    Column("bumper", SmallInteger, nullable=False),
    Column("position_a", SmallInteger, nullable=False),
    Column("position_b", SmallInteger, nullable=False),
    Column("at_ms", Big, nullable=False),
    Column("by", String(80)),
    Column("undone_ms", Big),
)
