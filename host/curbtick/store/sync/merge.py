"""A bench that could not reach the server catches up: what its own file has and the server has not.

Pulls go over one by one, each in a transaction, as raw records: the server decodes, dates and refuses doubles
as if the bench had pulled into it then, and keeps who pulled and when. Vehicles and rounds go first, so that
readings find their place; a reading's place in the file wins over the server's guess, for the file knows the
round it was made for. Work noted meanwhile follows (sync_work.py). Breaking off anywhere loses nothing and
doubles nothing.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from curbtick_wire import records
from sqlalchemy import Connection, func, select, update

from curbtick.progress import Progress
from curbtick.store import ingest, runs, tables, times
from curbtick.store.database import server
from curbtick.store.decode import decode
from curbtick.store.history import Store, add_probe, note_pull
from curbtick.store.sync import assigned
from curbtick.store.sync import places as sync_places
from curbtick.store.sync import work as sync_work


@dataclass
class Synced:
    """What a sync brought.

    new, doubled: records that the server lacked, and had.
    clashed_rounds: numbers of rounds that the server has with other vehicles; their readings keep the file's vehicles.
    work: what was noted.
    """

    pulls: int = 0
    new: int = 0
    doubled: int = 0
    clashed_rounds: list[int] = field(default_factory=list)
    work: sync_work.Work = field(default_factory=sync_work.Work)


class _Pull(NamedTuple):
    id: int
    probe_id: int
    bench: str | None
    at_ms: int
    first_seq: int
    last_seq: int


class _Life(NamedTuple):
    id: int
    unique_id: str
    life: int
    first_seen_ms: int


def sync(
    own: Store,
    central: Store,
    progress: Progress | None = None,
    settle: assigned.Settle = lambda _connection, _readings: None,
) -> Synced:
    """Bring everything that a bench's own history has pulled into the central one.

    settle: called with readings of the central history that an assignment moved. Raises StoreError; whatever arrived
    until then stays, and the next sync goes on from there.
    """
    result = Synced()
    mark = _mark_of(central)
    with own.read() as connection:
        lives = {row.id: _Life(*row) for row in connection.execute(_LIVES)}
        with central.write() as there:
            places = sync_places.bring(connection, there)
            clashed = places.clashed_rounds
            sync_work.bring_sends(connection, there, lambda key: _ensure_life(there, lives[key]), clashed)
        result.clashed_rounds = places.clashed_rounds
        since = _since(connection, central, mark, lives)
        pulls = [_Pull(*row) for row in connection.execute(_PULLS.where(tables.pulls.c.id > since))]
        for number, pull in enumerate(pulls, 1):
            counted = _send(connection, central, lives[pull.probe_id], pull, places.vehicles)
            result.pulls, result.new, result.doubled = (
                number,
                result.new + counted.new,
                result.doubled + counted.doubled,
            )
            if progress:
                progress(number, len(pulls))
        for key in sorted({pull.probe_id for pull in pulls}):
            _close(connection, central, lives[key])
        with central.write() as there:
            assignments = assigned.bring(connection, there, places.vehicles, settle)
            result.work = sync_work.bring(connection, there, places.vehicles)
            result.work.assignments = assignments
    if pulls:
        _note(own, mark, pulls[-1].id)
    return result


_LIVES = select(
    tables.probes.c.id, tables.probes.c.unique_id, tables.probes.c.life, tables.probes.c.first_seen_ms
).order_by(tables.probes.c.unique_id, tables.probes.c.life)
_PULLS = (
    select(*(tables.pulls.c[name] for name in _Pull._fields))
    .where(tables.pulls.c.new_count > 0)
    .order_by(tables.pulls.c.id)
)


def _mark_of(central: Store) -> str:
    with central.read() as connection:
        created_ms = connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "created_ms"))
    return f"synced_{created_ms}"


def _note(own: Store, mark: str, last_pull: int) -> None:
    with own.write() as connection:
        connection.execute(tables.meta.delete().where(tables.meta.c.key == mark))
        connection.execute(tables.meta.insert().values(key=mark, value=str(last_pull)))


def _since(connection: Connection, central: Store, mark: str, lives: dict[int, _Life]) -> int:
    """The last pull that the central history has; 0 where it lacks anything that was sent before."""
    last_pull = connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == mark))
    if last_pull is None:
        return 0
    before = _PULLS.where(tables.pulls.c.id <= int(last_pull)).with_only_columns(
        func.sum(tables.pulls.c.new_count)
    )
    with central.read() as there:
        for key, life in lives.items():
            theirs = _key_of(there, life)
            sum_ = connection.scalar(before.order_by(None).where(tables.pulls.c.probe_id == key)) or 0
            if theirs is None or _count(there, theirs) < sum_:
                return 0
    return int(last_pull)


def _count(connection: Connection, key: int) -> int:
    query = select(func.count()).select_from(tables.log).where(tables.log.c.probe_id == key)
    return int(connection.scalar(query) or 0)


def _key_of(connection: Connection, life: _Life) -> int | None:
    columns = tables.probes.c
    query = select(columns.id).where(columns.unique_id == life.unique_id, columns.life == life.life)
    key: int | None = connection.scalar(query.with_for_update() if not _reads(connection) else query)
    return key


def _reads(connection: Connection) -> bool:
    return not connection.get_execution_options().get("writes", False)


def _ensure_life(connection: Connection, life: _Life) -> int:
    """Key of that life in the central history, locked for this transaction."""
    key = _key_of(connection, life)
    if key is None:
        server.of_new_probes(connection)
        key = _key_of(connection, life)
    return add_probe(connection, life.unique_id, life.life, life.first_seen_ms) if key is None else key


def _send(
    own: Connection, central: Store, life: _Life, pull: _Pull, vehicles: dict[int, int]
) -> ingest.Counted:
    columns = tables.log.c
    mine = (columns.probe_id == life.id, columns.seq.between(pull.first_seq, pull.last_seq))
    batch = [decode(bytes(row.raw)) for row in own.execute(select(columns.raw).where(*mine))]
    with central.pulling() as connection:
        key = _ensure_life(connection, life)
        span = (columns.probe_id == key, columns.seq.between(pull.first_seq, pull.last_seq))
        there = set(connection.execute(select(columns.seq).where(*span)).scalars())
        counted = ingest.add(connection, key, batch, pull.at_ms)
        fresh = {record.seq for record in batch} - there
        _keep_places(own, connection, (life.id, key), sorted(fresh), vehicles)
        note_pull(connection, key, [r.seq for r in batch], counted, pull.at_ms, pull.bench)
    return counted


def _keep_places(
    own: Connection, central: Connection, keys: tuple[int, int], seqs: Sequence[int], vehicles: dict[int, int]
) -> None:
    """Records that are new in the central history belong where the file says."""
    if not seqs:
        return
    for kind in (records.READING, records.BUMPER, records.SEAL, records.HISS):
        table = tables.DECODED[kind]
        names = ("at_bumper", "at_position") if kind == records.READING else ()
        here = (table.c.probe_id == keys[0], table.c.seq.between(seqs[0], seqs[-1]))
        numbers = set(seqs)
        for row in own.execute(select(table).where(*here)).mappings():
            if row["seq"] in numbers:
                values: dict[str, Any] = {name: row[name] for name in names}
                values["vehicle_id"] = vehicles.get(row["vehicle_id"])
                there = (table.c.probe_id == keys[1], table.c.seq == row["seq"])
                central.execute(update(table).where(*there).values(**values))


def _close(own: Connection, central: Store, life: _Life) -> None:
    """Anchors that only the bench knows, and numbers that the probe is known to have lost."""
    anchors = list(_anchors(own, life))
    with central.pulling() as connection:
        key = _ensure_life(connection, life)
        if anchors:
            times.settle(connection, key, set(), anchors, life.first_seen_ms)
        runs.extend(connection, key, runs.of(own, life.id))


def _anchors(own: Connection, life: _Life) -> Iterator[times.Anchor]:
    query = select(tables.anchors).where(tables.anchors.c.probe_id == life.id)
    for row in own.execute(query.order_by(tables.anchors.c.id)):
        yield times.Anchor(row.boot, row.ticks_ms, row.host_ms, row.uncertainty_ms)
