"""Who writes into a history: its origin, which is drawn once for a file, and for a bench and a server beside the
bench's keys. A lost one is no harm: a new one is drawn.

A file carries its origin, and so does a copy of it; that two continue one origin is found when they sync.
"""

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, text

_FILE = "writers.json"


def origin_of(connection: Connection, draw: Callable[[], str]) -> str:
    """The origin for a connection that writes; drawn where there is none."""
    if connection.dialect.name == "sqlite":
        return _of_file(connection, draw)
    kept = _read().get(_server(connection))
    if kept is not None and _highest(connection, kept["origin"]) >= kept["number"]:
        return str(kept["origin"])
    return renew(connection, draw)


def renew(connection: Connection, draw: Callable[[], str]) -> str:
    """Draw another origin for whoever writes through a connection."""
    origin = draw()
    if connection.dialect.name == "sqlite":
        connection.execute(text("DELETE FROM meta WHERE key = 'origin'"))
        connection.execute(
            text("INSERT INTO meta (key, value) VALUES ('origin', :origin)"), {"origin": origin}
        )
    else:
        _keep(connection, origin, 0)
    return origin


def wrote(connection: Connection, origin: str, number: int) -> None:
    """Remember the last number written to a server: one set back to an older backup does not know it any more."""
    if connection.dialect.name != "sqlite":
        connection.info.setdefault("wrote", {})[origin] = number


def committed(connection: Connection) -> None:
    """Keep what was written, once it is durable on the server."""
    for origin, number in connection.info.pop("wrote", {}).items():
        _keep(connection, origin, number)


def _of_file(connection: Connection, draw: Callable[[], str]) -> str:
    origin = connection.scalar(text("SELECT value FROM meta WHERE key = 'origin'"))
    return renew(connection, draw) if origin is None else str(origin)


def _highest(connection: Connection, origin: str) -> int:
    query = text("SELECT max(number) FROM entries WHERE origin = :origin")
    return int(connection.scalar(query, {"origin": origin}) or 0)


def _server(connection: Connection) -> str:
    url = connection.engine.url
    return f"{url.username or ''}@{url.host or ''}:{url.port or ''}/{url.database or ''}"


def path() -> Path:
    """Where origins are kept: beside the keys, `CURBTICK_KEYS` or the user's configuration folder."""
    named = os.environ.get("CURBTICK_KEYS")
    if named:
        return Path(named).with_name(_FILE)
    base = os.environ.get("APPDATA") if os.name == "nt" else os.environ.get("XDG_CONFIG_HOME")
    return Path(base or Path.home() / ".config") / "curbtick" / _FILE


def _read() -> dict[str, Any]:
    try:
        found = json.loads(path().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def _keep(connection: Connection, origin: str, number: int) -> None:
    file = path()
    file.parent.mkdir(parents=True, exist_ok=True)
    kept = {**_read(), _server(connection): {"origin": origin, "number": number}}
    beside = file.with_suffix(f".{os.getpid()}")
    beside.write_text(json.dumps(kept, indent=1) + "\n", encoding="utf-8")
    beside.replace(file)
