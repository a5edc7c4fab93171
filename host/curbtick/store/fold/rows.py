"""Many rows into a table at once."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Table


def insert_rows(
    connection: Connection, table: Table, columns: Sequence[str], rows: list[tuple[Any, ...]]
) -> None:
    """Insert rows of values through the driver's own executemany; markers become null on the way.

    Compiling each row through the SQL layer would cost more than the database does.
    """
    mark = "?" if connection.dialect.paramstyle == "qmark" else "%s"
    marks = ", ".join(_value_of(table.c[name].info.get("marker"), mark) for name in columns)
    connection.exec_driver_sql(f"INSERT INTO {table.name} ({', '.join(columns)}) VALUES ({marks})", rows)


def _value_of(marker: int | None, mark: str) -> str:
    return mark if marker is None else f"NULLIF({mark}, {marker})"
