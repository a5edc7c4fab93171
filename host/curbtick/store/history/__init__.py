"""The history of a fleet: every record of every probe exactly once, in a SQLite file or a database by URL."""

import gc
import hashlib
import socket
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, NamedTuple, Self

from sqlalchemy import Connection, func, inspect, select

from curbtick.dates import now_ms
from curbtick.errors import InputError, StoreError
from curbtick.store import keys, runs, tables
from curbtick.store.database import server, writers
from curbtick.store.database.engine import BUSY_TIMEOUT_S, bare_engine, database_url
from curbtick.store.database.troubles import translated
from curbtick.store.decode import Decoded, decode_all
from curbtick.store.fold import findings, ingest, probes, rivals, times
from curbtick.store.history import arrive, write
from curbtick.store.schema import open_engine

__all__ = ["Store", "open_store", "probes_in"]

_ONE_STATE: dict[str, dict[str, Any]] = {"postgresql": {"isolation_level": "REPEATABLE READ"}}


class Ingested(NamedTuple):
    """What became of a batch.

    stored_to: the highest number up to which everything from the first on is stored. digest: the SHA-256 over
    those raw records: what may be acknowledged to the probe. new: records that the history did not have.
    """

    stored_to: int
    digest: bytes
    new: int


class Pull(NamedTuple):
    """A batch that was pulled, and what is to be noted of it."""

    probe_id: str
    log_id: int
    batch: Sequence[Decoded]
    fresh: ingest.Fresh
    covered: runs.Run | None
    anchors: Sequence[times.Anchor]
    bench: str | None

    @property
    def payload(self) -> dict[str, Any]:
        """The payload of an entry of kind `pulled`."""
        return {
            "probe": self.probe_id,
            "log_id": self.log_id,
            "bench": self.bench or socket.gethostname(),
            "spans": runs.of_numbers(sorted({record.seq for record in self.batch})),
            "covered": [] if self.covered is None else [self.covered],
            "new": len(self.fresh.records),
            "doubled": self.fresh.doubled,
            "anchors": [list(anchor) for anchor in self.anchors],
        }


class Store:
    """One open history. Every method that changes it does so in one committed transaction, or not at all."""

    def __init__(
        self,
        where: str | Path | None = None,
        busy_timeout_s: float = BUSY_TIMEOUT_S,
        *,
        making: bool = True,
    ) -> None:
        self.url = database_url(where)
        self._engine = open_engine(where, busy_timeout_s, making)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Give back the database's connections."""
        self._engine.dispose()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection that sees one state of the history throughout, with what follows from it brought up to date."""
        self._refresh()
        with self.held() as connection:
            yield connection

    @contextmanager
    def held(self) -> Iterator[Connection]:
        """As `read`, with what follows from the history as it was folded last."""
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
            findings.refresh(connection)

    @contextmanager
    def arriving(self) -> Iterator[Connection]:
        """As `write`, but for findings, which whoever reads next folds."""
        with self._transaction() as connection:
            server.exclusive(connection)
            yield connection

    def _refresh(self) -> None:
        """Fold what is stale; where this program may only read, as it was folded last."""
        with translated(self.url), self._engine.connect() as plain:
            is_stale = plain.scalar(select(tables.stale.c.id).limit(1)) is not None
        if is_stale:
            with suppress(StoreError), self.write():
                pass

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
            writers.committed(connection)

    def ingest(  # noqa: PLR0913
        self,
        probe_id: str,
        raw_records: Iterable[bytes],
        *,
        log_id: int = 0,
        first_seq: int | None = None,
        covered: runs.Run | None = None,
        anchors: Sequence[times.Anchor] = (),
        received_ms: int | None = None,
        bench: str | None = None,
        is_proved: bool = False,
    ) -> Ingested:
        """Store records of a probe, durably, each exactly once, and note the pull.

        probe_id: the probe's unique id in hex; log_id: of its log; raw_records: as the log holds them; first_seq:
        lowest number the probe still has (the lowest of the batch when not given).
        covered: range of numbers of which the batch holds every record that the probe still has;
        numbers without a record in it are gone from the probe for good.
        anchors: pairs of bench time and probe ticks measured beside it. is_proved: whether the probe proved itself.
        Raises StoreError; nothing of the batch is stored then.
        """
        at_ms = now_ms() if received_ms is None else received_ms
        with _uncollected():
            batch = decode_all(raw_records)
            low = min((record.seq for record in batch), default=1) if first_seq is None else first_seq
            with self.pulling() as connection:
                key = ensure_log(connection, probe_id, log_id)
                fresh = ingest.fresh_of(connection, probe_id, log_id, batch)
                pull = Pull(probe_id, log_id, batch, fresh, covered, anchors, bench)
                if batch or covered is not None or anchors:
                    write.note(connection, "pulled", pull.payload, at_ms)
                if is_proved:
                    contents = {record.seq: keys.digest(record.raw) for record in batch}
                    _note_proof(connection, probe_id, log_id, contents, at_ms)
                new = arrive.records(connection, probe_id, log_id, batch, fresh)
                high = runs.contiguous_to(runs.of(connection, key), low)
                digest = _digest_of_batch(batch, low, high) or _digest(
                    connection, probe_id, log_id, low, high
                )
                return Ingested(high, digest, new)

    def prove(self, probe_id: str, log_id: int, contents: Mapping[int, bytes], at_ms: int) -> None:
        """Note that a probe proved itself and these records, each by its number and its content's digest."""
        with self.pulling() as connection:
            ensure_log(connection, probe_id, log_id)
            _note_proof(connection, probe_id, log_id, contents, at_ms)

    def digest(self, probe_id: str, first_seq: int, last_seq: int, log_id: int | None = None) -> bytes:
        """SHA-256 over the raw records first_seq to last_seq, in order, of a probe's log."""
        with self.read() as connection:
            log = _only_log(connection, probe_id) if log_id is None else log_id
            return _digest(connection, probe_id, log, first_seq, last_seq)

    def stored_to(self, probe_id: str, first_seq: int = 1, log_id: int | None = None) -> int:
        """Highest number up to which everything from first_seq on is stored; first_seq - 1 when nothing is."""
        with self.read() as connection:
            log = _only_log(connection, probe_id) if log_id is None else log_id
            key = probes.find(connection, probe_id, log)
            return first_seq - 1 if key is None else runs.contiguous_to(runs.of(connection, key), first_seq)

    def record_count(self, probe_id: str, log_id: int | None = None) -> int:
        """Records stored of a probe's log, each content of a number for itself."""
        columns = tables.records.c
        with self.read() as connection:
            log = _only_log(connection, probe_id) if log_id is None else log_id
            mine = (columns.probe == probe_id, columns.log_id == log)
            query = select(func.count()).select_from(tables.records).where(*mine)
            return int(connection.scalar(query) or 0)

    def anchor(  # noqa: PLR0913
        self, probe_id: str, anchor: times.Anchor, log_id: int = 0, bench: str | None = None
    ) -> None:
        """Note a pair of bench time and probe ticks; times of the boot's records follow."""
        self.ingest(probe_id, (), log_id=log_id, anchors=[anchor], received_ms=anchor.host_ms, bench=bench)


def _note_proof(
    connection: Connection, probe_id: str, log_id: int, contents: Mapping[int, bytes], at_ms: int
) -> None:
    numbers = sorted(contents)
    payload = {"probe": probe_id, "log_id": log_id, "spans": runs.of_numbers(numbers)}
    digests = rivals.prefixes(contents[number] for number in numbers)
    write.note(connection, "records_proved", {**payload, "digests": digests}, at_ms)


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
            if not inspect(connection).has_table(tables.records.name):
                return []
            return sorted(connection.execute(select(tables.records.c.probe).distinct()).scalars())
    finally:
        engine.dispose()


def _only_log(connection: Connection, probe_id: str) -> int:
    """The id of the log that the history has of a probe, 0 for none. Raises InputError where it has several."""
    columns = tables.probes.c
    found = connection.execute(select(columns.log_id).where(columns.unique_id == probe_id)).scalars().all()
    if len(found) > 1:
        raise InputError(
            f"This history has {len(found)} logs of probe {probe_id}.",
            "Nothing was read.",
            "Say which log is meant.",
        )
    return int(found[0]) if found else 0


def ensure_log(connection: Connection, probe_id: str, log_id: int = 0) -> int:
    """Key of a probe's log, which is entered if it is new; other benches wait with theirs of it."""
    key = probes.ensure(connection, probe_id, log_id)
    server.of_probe(connection, key)
    return key


def _digest_of_batch(batch: Sequence[Decoded], low: int, high: int) -> bytes | None:
    """The digest of low to high where the batch alone holds that range; None where the store must be asked."""
    raws = {record.seq: record.raw for record in batch}
    if not raws or (low, high) != (min(raws), max(raws)):
        return None
    return hashlib.sha256(b"".join(raws[seq] for seq in sorted(raws))).digest()


def _digest(connection: Connection, probe_id: str, log_id: int, first_seq: int, last_seq: int) -> bytes:
    """Over the contents that count, where a number has more than one."""
    columns = tables.records.c
    mine = (columns.probe == probe_id, columns.log_id == log_id)
    query = select(columns.number, columns.raw).where(*mine, columns.number.between(first_seq, last_seq))
    hashed, last = hashlib.sha256(), 0
    ordered = query.order_by(columns.number, columns.digest)
    for row in connection.execute(ordered, execution_options={"yield_per": 1000}):
        if row.number != last:
            hashed.update(row.raw)
        last = row.number
    return hashed.digest()
