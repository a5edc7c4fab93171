"""Which vehicles' findings are older than their readings and entries; whoever reads the cache folds them first."""

from collections.abc import Iterable, Mapping

from sqlalchemy import Connection

from curbtick.store import tables
from curbtick.store.fold.rows import insert_rows


def mark(connection: Connection, vehicle_ids: Iterable[int | None], from_ms: int = 0) -> None:
    """Have vehicles folded again from a time on, 0 for all of it."""
    mark_from(connection, dict.fromkeys(sorted({key for key in vehicle_ids if key is not None}), from_ms))


def mark_from(connection: Connection, from_ms: Mapping[int, int]) -> None:
    """Have each vehicle folded again from its own time on."""
    if from_ms:
        insert_rows(connection, tables.stale, ("vehicle_id", "from_ms"), list(from_ms.items()))
