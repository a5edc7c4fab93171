"""Tables of the cache for what benches noted: vehicles, rounds, limit sets, assignments, findings, steps, swaps."""

from sqlalchemy import (
    Boolean,
    Column,
    Index,
    Integer,
    LargeBinary,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
)

from curbtick.store.columns import Big, big, cache, key, of, small, words

vehicles = Table(
    "vehicles",
    cache,
    key(),
    Column("name", Text, nullable=False, index=True),
    Column("type", Text),
    Column("depot", Text),
    Column("is_reference", Boolean, nullable=False),
    big("created_ms"),
    Column("retired_ms", Big),
    Column("digest", LargeBinary(16), nullable=False),
)
"""digest: of the entry that entered it, by which other entries name it."""

aliases = Table(
    "aliases",
    cache,
    Column("entered_id", Big, primary_key=True, autoincrement=False),
    of("vehicle_id"),
)
"""Under which vehicle each one that was ever entered stands; another one where a person said `same as`."""

vehicle_names = Table(
    "vehicle_names",
    cache,
    of("vehicle_id"),
    Column("place", Integer, nullable=False),
    Column("name", Text, nullable=False, index=True),
    big("until_ms"),
    PrimaryKeyConstraint("vehicle_id", "place"),
)
"""Names that a vehicle no longer goes by, in order."""

bumpers = Table(
    "bumpers",
    cache,
    of("vehicle_id"),
    Column("place", Integer, nullable=False),
    small("bumper"),
    small("positions"),
    small("class_khz"),
    big("from_ms"),
    PrimaryKeyConstraint("vehicle_id", "place"),
)
"""What a bumper carries from a time on; a retrofit adds a row. place: its order among the vehicle's fittings."""

rounds = Table(
    "rounds",
    cache,
    key(),
    Column("number", Big, nullable=False, unique=True),
    Column("name", Text),
    Column("technician", Text),
    big("made_ms"),
)

round_vehicles = Table(
    "round_vehicles",
    cache,
    of("round_id"),
    small("place"),
    of("vehicle_id"),
    small("rear_positions"),
    small("rear_class_khz"),
    small("front_positions"),
    small("front_class_khz"),
    PrimaryKeyConstraint("round_id", "place"),
)

sends = Table(
    "sends",
    cache,
    key(),
    of("probe_id"),
    words("what"),
    big("number"),
    big("at_ms"),
)
"""Rounds that a probe was given and limit sets that it took; what is "round" or "limits"."""

limit_sets = Table(
    "limit_sets",
    cache,
    key(),
    Column("revision", Big, nullable=False, unique=True),
    big("made_ms"),
    Column("origin", Text),
    Column("payload", LargeBinary, nullable=False),
)

assignments = Table(
    "assignments",
    cache,
    key(),
    big("at_ms"),
    Column("by", Text),
    Column("why", Text),
    Column("is_undone", Boolean, nullable=False),
    Column("origin", String(16), nullable=False),
    big("number"),
    Column("digest", LargeBinary(16), nullable=False),
)

assigned = Table(
    "assigned",
    cache,
    of("assignment_id"),
    of("reading_id"),
    of("vehicle_id"),
    small("bumper"),
    small("position"),
    PrimaryKeyConstraint("assignment_id", "reading_id"),
    Index("assigned_by_reading", "reading_id"),
)

findings = Table(
    "findings",
    cache,
    of("vehicle_id"),
    small("bumper"),
    small("position"),
    of("opened_by_id"),
    words("what"),
    big("reasons"),
    words("state"),
    big("opened_ms"),
    Column("proved_ms", Big),
    Column("proved_by_id", Big),
    PrimaryKeyConstraint("vehicle_id", "bumper", "position", "opened_by_id"),
    Index("findings_by_state", "state", "proved_ms"),
    Index("findings_by_opener", "opened_by_id"),
)
"""position 0 is a finding about the whole bumper; what is "weak", "dead" or "not_transmitting"."""

steps = Table(
    "steps",
    cache,
    key(),
    of("vehicle_id"),
    small("bumper"),
    small("position"),
    of("reading_id"),
    of("opened_by_id", nullable=True),
    words("step"),
    big("at_ms"),
    Column("by", Text),
    Column("note", Text),
    of("last_id", nullable=True),
    Index("steps_by_place", "vehicle_id", "bumper", "position"),
)
"""Work done or noted on a finding.

reading_id: the reading that the note named the finding by; opened_by_id: the one that opened the finding it is part of.
last_id: the newest reading of the place that the writer knew.
"""

swaps = Table(
    "swaps",
    cache,
    key(),
    of("vehicle_id"),
    small("bumper"),
    small("position_a"),
    small("position_b"),
    big("at_ms"),
    Column("by", Text),
    Column("is_undone", Boolean, nullable=False),
    Column("digest", LargeBinary(16), nullable=False),
)
