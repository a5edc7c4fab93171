"""A history on a server: how it is reached, what keeps it safe, and its locks. SQLite, with one writer, needs none.

Passwords come from PGPASSWORD, PGPASSFILE or CURBTICK_DB, never from an argument, which every user of the
computer could read. Options of libpq pass through the URL: `?sslmode=verify-full&sslrootcert=ca.pem`. A server on
another machine must speak TLS unless the URL says otherwise: `?sslmode=disable`.

Every change outside a pull waits for the others (`exclusive`), as in a SQLite file; pulls only wait for such
a change and for pulls of the same probe (`of_pulls` and the lock on the probe's row), so eight benches pull
eight probes at once and one probe's records are still looked up and stored by one bench at a time. Locks are on rows
that a reader may not lock, for advisory locks anybody can take.
"""

import logging
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from curbtick.errors import InputError

CACHE = "cache"
"""The schema of what follows from the history and can be made anew."""
_HERE = frozenset(("localhost", "127.0.0.1", "::1"))
CONNECT_TIMEOUT_S = 10
LOCK_TIMEOUT_S = 60
# A server that vanished without a word is given up after this long.
SILENT_MS = 30_000
# What a lost connection makes these libraries log is told by the error that a caller gets.
for _library in ("sqlalchemy", "psycopg"):
    logging.getLogger(_library).addHandler(logging.NullHandler())
# Taken in this order, a log's row and a writer's after them; so no two transactions wait for each other.
CHANGES, NEW_PROBES = "changes", "probes"


def with_driver(url: str) -> str:
    """The URL with the driver that this program uses named in it."""
    return url.replace("postgresql://", "postgresql+psycopg://", 1)


def refuse_password(url: str) -> None:
    """Raise InputError for a URL that carries a password."""
    try:
        parts = make_url(url)
    except ArgumentError:
        return
    if parts.password is not None or "password" in parts.query:
        raise InputError(
            "The database's URL carries a password, and a command line can be read by everybody on this computer.",
            "Nothing was read or changed.",
            "Leave it out of the URL: set PGPASSWORD, or name a password file by PGPASSFILE, or put the whole "
            "URL into CURBTICK_DB.",
        )


def engine(url: str) -> Engine:
    """The engine of a database server's URL; connections that a restart killed are replaced."""
    options: dict[str, Any] = {"application_name": "curbtick", "connect_timeout": CONNECT_TIMEOUT_S}
    parts = make_url(url)
    connect_args = {name: value for name, value in options.items() if name not in parts.query}
    if parts.get_backend_name() != "postgresql":
        return create_engine(url)
    if "sslmode" not in parts.query and not _is_here(parts.host):
        connect_args["sslmode"] = "require"
    connect_args.update(tcp_user_timeout=SILENT_MS, keepalives_idle=SILENT_MS // 1000)
    server_engine = create_engine(url, pool_pre_ping=True, connect_args=connect_args)
    event.listen(server_engine, "connect", _on_connect)
    return server_engine


def _is_here(host: str | None) -> bool:
    """Whether a server is on this machine: then nobody listens on the way."""
    return not host or host.startswith("/") or host in _HERE


def _on_connect(connection: Any, _record: object) -> None:
    """What is committed is on the server's disk, even where its default says otherwise."""
    with connection.cursor() as cursor:
        cursor.execute(f"SET search_path = public, {CACHE}")
        cursor.execute(f"SET lock_timeout = '{LOCK_TIMEOUT_S}s'")
        cursor.execute(
            "SELECT set_config('synchronous_commit', 'on', false) "
            "WHERE current_setting('synchronous_commit') = 'off'"
        )
    connection.commit()


def exclusive(connection: Connection) -> None:
    """Wait until nobody else changes the history, and keep them waiting until this transaction ends."""
    lock(connection, CHANGES)


def of_pulls(connection: Connection) -> None:
    """Wait until no change other than pulls is under way, and keep those waiting until this transaction ends."""
    lock(connection, CHANGES, shared=True)


def of_probe(connection: Connection, key: int) -> None:
    """Wait until no other bench adds to a log, and keep them waiting until this transaction ends."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SELECT id FROM probes WHERE id = :key FOR UPDATE"), {"key": key})


def lock(connection: Connection, name: str, *, shared: bool = False) -> None:
    """Lock a row of the table of locks until this transaction ends; only who may write the cache can."""
    if connection.dialect.name != "postgresql":
        return
    held = text(f"SELECT name FROM locks WHERE name = :name FOR {'SHARE' if shared else 'UPDATE'}")
    if connection.scalar(held, {"name": name}) is None:
        connection.execute(
            text("INSERT INTO locks (name) VALUES (:name) ON CONFLICT DO NOTHING"), {"name": name}
        )
        connection.execute(held, {"name": name})
