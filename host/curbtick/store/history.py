"""The history of a fleet: every record of every probe exactly once, in a SQLite file or a database by URL."""

import gc
import hashlib
import socket
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, CursorResult, bindparam, func, inspect, select

from curbtick.dates import now_ms
from curbtick.errors import InputError
from curbtick.store import depots, ingest, runs, tables, times
from curbtick.store.database import server
from curbtick.store.database.engine import BUSY_TIMEOUT_S, bare_engine, database_url
from curbtick.store.database.troubles import translated
from curbtick.store.decode import Decoded, decode_all
from curbtick.store.schema import open_engine

__all__ = ["Store", "open_store", "probes_in"]

_ONE_STATE: dict[str, dict[str, Any]] = {"postgresql": {"isolation_level": "REPEATABLE READ"}}


class Store:
    """One open history. Every method that changes it does so in one committed transaction, or not at all."""

    def __init__(
        self,
        where: str | Path | None = None,
        busy_timeout_s: float = BUSY_TIMEOUT_S,
        *,
        filling: bool = False,
        making: bool = True,
    ) -> None:
        self.url = database_url(where)
        self._engine = open_engine(where, busy_timeout_s, filling, making)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Give back the database's connections."""
        self._engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection that sees one state of the history throughout."""
        with translated(self.url), self._engine.connect() as plain:
            connection = plain.execution_options(**_ONE_STATE.get(plain.dialect.name, {}))
            with connection.begin():
                yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A connection whose changes are committed at the end, or undone by any exception; nobody else changes
        the history meanwhile.
        """
        with self._transaction() as connection:
            server.exclusive(connection)
            yield connection

    @contextmanager
    def pulling(self) -> Iterator[Connection]:
        """As `write`, beside pulls of other probes."""
        with self._transaction() as connection:
            server.of_pulls(connection)
            yield connection

    @contextmanager
    def _transaction(self) -> Iterator[Connection]:
        with translated(self.url), self._engine.connect() as plain:
            connection = plain.execution_options(writes=True)
            with connection.begin():
                yield connection

    def ingest(
        self,
        probe_id: str,
        raw_records: Iterable[bytes],
        *,
        first_seq: int | None = None,
        covered: runs.Run | None = None,
        anchors: Sequence[times.Anchor] = (),
        received_ms: int | None = None,
        bench: str | None = None,
    ) -> tuple[int, bytes]:
        """Store records of a probe, durably, each exactly once.

        probe_id: the probe's unique id in hex; raw_records: as the probe's log holds them; first_seq:
        lowest number the probe still has (the lowest of the batch when not given).
        covered: range of numbers of which the batch holds every record that the probe still has;
        numbers without a record in it are gone from the probe for good.
        anchors: pairs of bench time and probe ticks measured beside it; noted only with an accepted batch.
        Returns the highest number up to which everything from first_seq on is stored, and the SHA-256 over
        those raw records: what may be acknowledged to the probe.
        Raises StoreError; nothing of the batch is stored then.
        """
        at_ms = now_ms() if received_ms is None else received_ms
        with _uncollected():
            batch = decode_all(raw_records)
            low = min((record.seq for record in batch), default=1) if first_seq is None else first_seq
            with self.pulling() as connection:
                key = ensure_probe(connection, probe_id, at_ms)
                counted = ingest.add(connection, key, batch, at_ms, anchors, from_probe=True)
                if covered is not None:
                    runs.extend(connection, key, [covered])
                if batch:
                    note_pull(connection, key, [record.seq for record in batch], counted, at_ms, bench)
                high = runs.contiguous_to(runs.of(connection, key), low)
                return high, _digest_of_batch(batch, low, high) or _digest(connection, key, low, high)

    def digest(self, probe_id: str, first_seq: int, last_seq: int) -> bytes:
        """SHA-256 over the raw records first_seq to last_seq, in order, of a probe's newest life."""
        with self.read() as connection:
            key = find_probe(connection, probe_id)
            return hashlib.sha256().digest() if key is None else _digest(connection, key, first_seq, last_seq)

    def stored_to(self, probe_id: str, first_seq: int = 1) -> int:
        """Highest number up to which everything from first_seq on is stored; first_seq - 1 when nothing is."""
        with self.read() as connection:
            key = find_probe(connection, probe_id)
            return first_seq - 1 if key is None else runs.contiguous_to(runs.of(connection, key), first_seq)

    def record_count(self, probe_id: str) -> int:
        """Records stored of a probe's newest life."""
        with self.read() as connection:
            pulls = tables.pulls.c
            query = select(func.coalesce(func.sum(pulls.new_count), 0))
            return connection.scalar(query.where(pulls.probe_id == find_probe(connection, probe_id))) or 0

    def anchor(self, probe_id: str, boot: int, ticks_ms: int, host_ms: int, uncertainty_ms: int) -> None:
        """Note a pair of bench time and probe ticks; times of the boot's records follow."""
        anchor = times.Anchor(boot, ticks_ms, host_ms, uncertainty_ms)
        with self.pulling() as connection:
            key = ensure_probe(connection, probe_id, host_ms)
            times.settle(connection, key, {boot}, [anchor], now_ms())

    def renew_probe(self, probe_id: str) -> None:
        """Start a new life for a probe whose storage was wiped: its numbers begin again, the old stay
        apart.
        """
        with self.write() as connection:
            newest = _newest_life(connection, probe_id)
            if newest is None:
                raise InputError(
                    f"There is no probe {probe_id} in this history.",
                    "Nothing was changed.",
                    "`curbtick probes` lists the ones that are.",
                )
            add_probe(connection, probe_id, newest.life + 1, now_ms())


@contextmanager
def _uncollected() -> Iterator[None]:
    """Spare the collector's walks over the tuples of a batch, none of which is ever in a cycle."""
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_enabled:
            gc.enable()


def open_store(where: str | Path | None = None, *, making: bool = False) -> Store:
    """Open the history named by a file or URL (None: CURBTICK_DB, else ./curbtick.db).

    making: make the file where there is none yet. Raises NoHistoryError, StoreError.
    """
    return Store(where, making=making)


def probes_in(where: str | Path) -> list[str]:
    """Unique ids of the probes that a history of whatever version holds, in order; none where it is not made yet.

    Raises StoreError for what cannot be read.
    """
    url = database_url(where)
    engine = bare_engine(url)
    try:
        with translated(url), engine.connect() as connection:
            if not inspect(connection).has_table(tables.probes.name):
                return []
            return sorted(set(connection.execute(select(tables.probes.c.unique_id)).scalars()))
    finally:
        engine.dispose()


def inserted_key(result: CursorResult[Any]) -> int:
    """Key that the database gave to the one row just inserted."""
    key = result.inserted_primary_key
    assert key is not None
    return int(key[0])


def find_probe(connection: Connection, probe_id: str) -> int | None:
    """Key of the newest life of the probe with this unique id, in hex."""
    newest = _newest_life(connection, probe_id)
    return None if newest is None else int(newest.id)


def ensure_probe(connection: Connection, probe_id: str, at_ms: int) -> int:
    """Key of the newest life of a probe, which is added if it is new; other benches wait with theirs of it."""
    key = find_probe(connection, probe_id)
    if key is None:
        server.of_new_probes(connection)
        key = find_probe(connection, probe_id)
    if key is None:
        return add_probe(connection, probe_id, 1, at_ms)
    server.of_probe(connection, key)
    return key


_NEWEST_LIFE = (
    select(tables.probes.c.id, tables.probes.c.life)
    .where(tables.probes.c.unique_id == bindparam("unique_id"))
    .order_by(tables.probes.c.life.desc())
    .limit(1)
)


def _newest_life(connection: Connection, probe_id: str) -> Any:
    return connection.execute(_NEWEST_LIFE, {"unique_id": probe_id}).one_or_none()


def add_probe(connection: Connection, probe_id: str, life: int, at_ms: int) -> int:
    """Add a life of a probe; its key."""
    name = probe_id[-6:] if life == 1 else f"{probe_id[-6:]}.{life}"
    columns = tables.probes.c
    if connection.scalar(select(columns.id).where(columns.name == name)) is not None:
        name = f"{probe_id}.{life}"
    row = {"unique_id": probe_id, "life": life, "name": name, "first_seen_ms": at_ms}
    result = connection.execute(tables.probes.insert().values(**row))
    return inserted_key(result)


def note_pull(
    connection: Connection, key: int, seqs: list[int], counted: ingest.Counted, at_ms: int, bench: str | None
) -> None:
    """Note who pulled, when, and what it brought."""
    name = bench or socket.gethostname()
    depots.note_bench(connection, name, at_ms)
    row = (key, name, at_ms, counted.new, counted.doubled, min(seqs), max(seqs))
    connection.execute(_NOTE_PULL, dict(zip(_PULL, row, strict=True)))


_PULL = ("probe_id", "bench", "at_ms", "new_count", "doubled_count", "first_seq", "last_seq")
_NOTE_PULL = tables.pulls.insert().inline()


def _digest_of_batch(batch: Sequence[Decoded], low: int, high: int) -> bytes | None:
    """The digest of low to high where the batch alone holds that range; None where the store must be asked."""
    raws = {record.seq: record.raw for record in batch}
    if not raws or (low, high) != (min(raws), max(raws)):
        return None
    return hashlib.sha256(b"".join(raws[seq] for seq in sorted(raws))).digest()


def _digest(connection: Connection, key: int, first_seq: int, last_seq: int) -> bytes:
    columns = tables.log.c
    query = select(columns.raw).where(columns.probe_id == key, columns.seq.between(first_seq, last_seq))
    hashed = hashlib.sha256()
    for row in connection.execute(query.order_by(columns.seq), execution_options={"yield_per": 1000}):
        hashed.update(row.raw)
    return hashed.digest()
