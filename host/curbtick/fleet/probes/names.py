"""What people call a probe, and the depot it belongs to; neither changes its history."""

from sqlalchemy import Connection, select, update

from curbtick.errors import InputError
from curbtick.store import tables


def describe(connection: Connection, name: str, new_name: str | None, depot: str | None) -> None:
    """Give a probe a new name or depot. Raises InputError for a probe not known, or a name in use."""
    columns = tables.probes.c
    names_in_use = set(connection.execute(select(columns.name)).scalars())
    if name not in names_in_use:
        raise InputError(
            f"There is no probe {name}.", "Nothing was changed.", "`curbtick probes` lists them."
        )
    if new_name != name and new_name in names_in_use:
        raise InputError(f"A probe {new_name} exists already.", "Nothing was changed.", "Use another name.")
    values = {key: value for key, value in (("name", new_name), ("depot", depot)) if value}
    if values:
        connection.execute(update(tables.probes).where(columns.name == name).values(**values))
