"""The roles of a history on a server: bench, reader, steward, as SQL that is shipped with the program."""

from pathlib import Path

from curbtick.errors import InputError
from curbtick.store.database.engine import shown
from curbtick.store.history import Store

ROLES = ("curbtick_reader", "curbtick_bench", "curbtick_steward")


def sql() -> str:
    """The statements that make the roles and say what each may."""
    return Path(__file__).with_name("roles.sql").read_text(encoding="utf-8")


def apply(store: Store) -> None:
    """Make the roles in the history's database, as its owner. Raises StoreError, InputError for a file."""
    if not store.url.startswith("postgresql"):
        raise InputError(
            f"{shown(store.url)} is a file: it has no roles.",
            "Nothing was changed.",
            "Use the permissions of the file and its folder, or name a server's database.",
        )
    with store.write() as connection:
        connection.exec_driver_sql(sql())
