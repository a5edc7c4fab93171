"""The schema of the history: plain SQLAlchemy tables that SQLite and PostgreSQL share.

Two tables are the history: `records`, what probes wrote, and `entries`, what benches noted. Their rows are inserted
and never changed. Everything in the metadata `cache` follows from them by the fold (`store/fold`) and may be dropped.

Times are whole milliseconds since 1970 UTC; a time that is not known is null, never a guess. Keys of the cache are
computed from names (`store/keys.py`), so that every history gives the same thing the same key.
"""

from typing import Any

from curbtick_wire import records as wire
from sqlalchemy import (
    Column,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    SmallInteger,
    String,
    Table,
    Text,
    text,
)

from curbtick.store.columns import Big, big, cache, decoded, key, of, record_columns, words
from curbtick.store.facts import (
    aliases,
    assigned,
    assignments,
    bumpers,
    findings,
    limit_sets,
    round_vehicles,
    rounds,
    sends,
    steps,
    swaps,
    vehicle_names,
    vehicles,
)

__all__ = [
    "SCHEMA_VERSION",
    "cache",
    "immutable",
    "record_columns",
    "aliases",
    "assigned",
    "assignments",
    "bumpers",
    "findings",
    "limit_sets",
    "round_vehicles",
    "rounds",
    "sends",
    "steps",
    "swaps",
    "vehicle_names",
    "vehicles",
]

SCHEMA_VERSION = 1

immutable = MetaData()


def _only(condition: str) -> dict[str, Any]:
    """Options of an index over some of the rows."""
    return {f"{engine}_where": text(condition) for engine in ("sqlite", "postgresql")}


meta = Table("meta", immutable, Column("key", String(40), primary_key=True), Column("value", String(200)))

records = Table(
    "records",
    immutable,
    Column("probe", String(32), nullable=False),
    big("log_id"),
    big("number"),
    Column("digest", LargeBinary(16), nullable=False),
    Column("raw", LargeBinary, nullable=False),
    PrimaryKeyConstraint("probe", "log_id", "number", "digest"),
    sqlite_with_rowid=False,
)
"""Every record exactly as a probe wrote it, by the probe's unique id, its log id, its number and its content."""

entries = Table(
    "entries",
    immutable,
    Column("origin", String(16), nullable=False),
    big("number"),
    Column("digest", LargeBinary(16), nullable=False),
    big("at_ms"),
    big("uncertainty_ms"),
    Column("who", Text),
    words("kind"),
    words("seen"),
    words("payload"),
    PrimaryKeyConstraint("origin", "number", "digest"),
)
"""Every entry of every writer's journal.

origin: 16 hex digits, drawn for each writer. seen: canonical JSON, the highest number of each other origin that the
writer knew. payload: canonical JSON by the kind's schema (`store/journal/kinds.py`).
"""

touches = Table(
    "touches",
    cache,
    Column("subject", String(64), nullable=False),
    Column("origin", String(16), nullable=False),
    big("number"),
    Column("digest", LargeBinary(16), nullable=False),
    PrimaryKeyConstraint("subject", "origin", "number", "digest"),
)
"""Which entries concern which subject: what the fold of that subject must read."""

moved = Table(
    "moved",
    cache,
    Column("old", LargeBinary(16), primary_key=True),
    Column("new", LargeBinary(16), nullable=False),
)
"""Entries of a fork that were entered again under another origin, and as which."""

locks = Table("locks", cache, Column("name", String(20), primary_key=True))
"""Rows that writers on a server lock; a reader may not."""

stale = Table(
    "stale",
    cache,
    Column("id", Big, primary_key=True),
    of("vehicle_id"),
    big("from_ms"),
)
"""Vehicles whose findings are to be folded again, from a time on; 0 for all of them."""

folded = Table(
    "folded",
    cache,
    Column("vehicle_id", Big, primary_key=True, autoincrement=False),
    big("to_ms"),
)
"""Up to which `sort_ms` a vehicle's findings are folded."""

probes = Table(
    "probes",
    cache,
    key(),
    Column("unique_id", String(32), nullable=False),
    big("log_id"),
    Column("name", Text, nullable=False, index=True),
    Column("depot", Text),
    Index("probes_by_id", "unique_id", "log_id", unique=True),
)
"""One row for each log of a probe; a probe whose flash was wiped begins a new log."""

doubles = Table(
    "doubles",
    cache,
    of("probe_id"),
    big("seq"),
    PrimaryKeyConstraint("probe_id", "seq"),
)
"""Numbers of records that have more than one content."""

pulls = Table(
    "pulls",
    cache,
    key(),
    of("probe_id"),
    Column("bench", Text),
    big("at_ms"),
    Column("new_count", Integer, nullable=False),
    Column("doubled_count", Integer, nullable=False),
    Column("first_seq", Big),
    Column("last_seq", Big),
    Index("pulls_by_probe", "probe_id", "at_ms"),
    Index("pulls_by_seq", "probe_id", "last_seq"),
)

proofs = Table(
    "proofs",
    cache,
    key(),
    of("probe_id"),
    big("first_seq"),
    big("last_seq"),
    Column("origin", String(16), nullable=False),
    big("number"),
    Index("proofs_by_probe", "probe_id", "last_seq"),
)
"""Pulls in which the probe proved itself: between which numbers, and the entry that says of which contents."""

benches = Table("benches", cache, Column("name", Text, primary_key=True), Column("depot", Text))
"""The benches that pulled, by the name they give themselves, and the depot each stands in where it is known."""

runs = Table(
    "runs",
    cache,
    of("probe_id"),
    big("first_seq"),
    big("last_seq"),
    PrimaryKeyConstraint("probe_id", "first_seq"),
)
"""The unbroken ranges of sequence numbers stored of each log, or known to be gone from it."""

boots = Table(
    "boots",
    cache,
    of("probe_id"),
    big("boot"),
    Column("first_seq", Big),
    Column("last_seq", Big),
    Column("pulled_ms", Big),
    Column("offset_ms", Big),
    Column("anchor_ticks_ms", Big),
    Column("uncertainty_ms", Big),
    Column("not_before_ms", Big),
    big("not_after_ms"),
    PrimaryKeyConstraint("probe_id", "boot"),
)
"""offset_ms is the time at tick 0, null in a boot without an anchor; then only the two bounds are known.

pulled_ms: the earliest pull that brought a record of the boot.
"""

anchors = Table(
    "anchors",
    cache,
    of("probe_id"),
    big("boot"),
    big("ticks_ms"),
    big("host_ms"),
    big("uncertainty_ms"),
    PrimaryKeyConstraint("probe_id", "boot", "ticks_ms", "host_ms", "uncertainty_ms"),
)

readings = decoded(
    cache,
    "readings",
    wire.READING,
    of("vehicle_id", nullable=True),
    Column("at_bumper", SmallInteger),
    Column("at_position", SmallInteger),
    Column("superseded", SmallInteger, nullable=False, default=0),
    Index("readings_by_place", "vehicle_id", "at_bumper", "at_position", "sort_ms"),
    Index("readings_without_vehicle", "round_id", **_only("vehicle_id IS NULL AND round_id > 0")),
    Index("readings_again", "probe_id", "supersedes_seq", **_only("supersedes_seq > 0")),
)
"""vehicle, bumper, position stay as the probe wrote them; vehicle_id, at_bumper, at_position say where the
bench holds the reading to belong.
"""

snippets = decoded(cache, "snippets", wire.SNIPPET, Index("snippets_by_reading", "probe_id", "reading_seq"))
sounds = decoded(cache, "sounds", wire.SOUNDS, Index("sounds_by_reading", "probe_id", "reading_seq"))
bumper_results = decoded(cache, "bumper_results", wire.BUMPER)
named = Table(
    "named",
    cache,
    of("reading_id"),
    of("result_id"),
    PrimaryKeyConstraint("reading_id", "result_id"),
    sqlite_with_rowid=False,
)
"""Which readings each bumper result is made of."""

seal_marks = decoded(
    cache,
    "seal_marks",
    wire.SEAL,
    of("vehicle_id", nullable=True),
    Index("seal_marks_by_round", "round_id", "vehicle"),
)
hiss_marks = decoded(
    cache,
    "hiss_marks",
    wire.HISS,
    of("vehicle_id", nullable=True),
    Index("hiss_marks_by_round", "round_id", "vehicle"),
)
self_tests = decoded(cache, "self_tests", wire.SELF_TEST)
events = decoded(cache, "events", wire.EVENT)
crashes = decoded(cache, "crashes", wire.CRASH)

DECODED = {
    wire.READING: readings,
    wire.SNIPPET: snippets,
    wire.SOUNDS: sounds,
    wire.BUMPER: bumper_results,
    wire.SEAL: seal_marks,
    wire.HISS: hiss_marks,
    wire.SELF_TEST: self_tests,
    wire.EVENT: events,
    wire.CRASH: crashes,
}
IN_ROUND = {kind: DECODED[kind] for kind in (wire.READING, wire.SEAL, wire.HISS)}
"""Kinds of which each record belongs to a vehicle, by the round that it names."""
