"""What people call a probe, and the depot it belongs to; neither changes its history."""

from sqlalchemy import Connection, select

from curbtick.errors import InputError
from curbtick.store import tables
from curbtick.store.history import write


def describe(connection: Connection, name: str, new_name: str | None, depot: str | None, at_ms: int) -> None:
    """Give a probe a new name or depot. Raises InputError for a probe not known, or a name in use."""
    unique_ids = {row.name: row.unique_id for row in connection.execute(select(tables.probes))}
    if name not in unique_ids:
        raise InputError(
            f"There is no probe {name}.", "Nothing was changed.", "`curbtick probes` lists them."
        )
    if new_name != name and new_name in unique_ids:
        raise InputError(f"A probe {new_name} exists already.", "Nothing was changed.", "Use another name.")
    if new_name or depot:
        payload = {"probe": unique_ids[name], "name": new_name, "depot": depot}
        write.note(connection, "probe_described", payload, at_ms)
