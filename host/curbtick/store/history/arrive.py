"""What arrives, from a probe or another history, into the immutable tables and the cache at once."""

from collections.abc import Sequence

from sqlalchemy import Connection

from curbtick.store import tables
from curbtick.store.decode import Decoded
from curbtick.store.fold import apply, ingest, probes, rivals
from curbtick.store.fold.ingest import Fresh
from curbtick.store.journal.entries import Entry, row_of


def records(
    connection: Connection, unique_id: str, log_id: int, batch: Sequence[Decoded], fresh: Fresh | None = None
) -> int:
    """Store the contents of a batch that are new; returns how many those are. fresh: where they were looked up."""
    new = ingest.fresh_of(connection, unique_id, log_id, batch) if fresh is None else fresh
    key = probes.ensure(connection, unique_id, log_id)
    rivals.judge(connection, key, ingest.add(connection, key, unique_id, log_id, new))
    return len(new.records)


def entries(connection: Connection, arrived: Sequence[Entry]) -> None:
    """Store entries that are new, and bring the cache up to date with them."""
    if arrived:
        connection.execute(tables.entries.insert(), [row_of(one) for one in arrived])
        apply.entries(connection, arrived)
