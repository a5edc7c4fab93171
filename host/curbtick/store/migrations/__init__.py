"""The history's versions: Alembic revisions `0001`, `0002`, ... one for each SCHEMA_VERSION, run only when asked for.

A file that the program made by itself carries no Alembic table; its own version mark says which revision it is at.
"""

from pathlib import Path
from typing import NamedTuple

from sqlalchemy import Connection, Engine, inspect

from curbtick.errors import MissingProgramError, StoreError
from curbtick.store import server, tables
from curbtick.store.engine import bare_engine, database_url, refuse_newer, shown, stored_version, translated

FOLDER = Path(__file__).parent


class Upgraded(NamedTuple):
    """What an upgrade did; before is None for a database that was empty."""

    before: int | None
    after: int


def upgrade(where: str | Path | None) -> Upgraded:
    """Bring the history to this program's version, making it where there is none, in one transaction.

    Raises StoreError for a database of something else or of a newer program; nothing is changed then.
    """
    url = database_url(where)
    engine = bare_engine(url)
    try:
        with translated(url):
            return Upgraded(_upgrade(engine, url), tables.SCHEMA_VERSION)
    finally:
        engine.dispose()


def version_of(where: str | Path | None) -> int | None:
    """The version of a history; None for an empty database. Raises StoreError for one of something else."""
    url = database_url(where)
    engine = bare_engine(url)
    try:
        with translated(url):
            return _version(engine, url)
    finally:
        engine.dispose()


def _upgrade(engine: Engine, url: str) -> int | None:
    before = _version(engine, url)
    if before is not None:
        refuse_newer(url, before)
    if before == tables.SCHEMA_VERSION:
        return before
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        server.exclusive(connection)
        _run(connection, before)
    return before


def _version(engine: Engine, url: str) -> int | None:
    found = [name for name in inspect(engine).get_table_names() if name != "alembic_version"]
    if not found:
        return None
    version = stored_version(engine) if "meta" in found else None
    if version is None:
        raise StoreError(
            f"{shown(url)} is a database, but not a history of this program.",
            "Nothing was read or changed.",
            "Name an empty database, or another file.",
        )
    return version


def _run(connection: Connection, before: int | None) -> None:
    try:
        from alembic import command
        from alembic.config import Config
    except ImportError as error:
        raise MissingProgramError(
            "Changing a history's version needs Alembic, which is not installed.",
            "Nothing was changed.",
            "Install it with `pip install 'curbtick[postgresql]'`.",
        ) from error
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.attributes["connection"] = connection
    if before is not None:
        command.stamp(config, f"{before:04}")
    command.upgrade(config, f"{tables.SCHEMA_VERSION:04}")
