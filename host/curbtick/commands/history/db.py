"""`curbtick db` and `curbtick sync`: the history's database itself: version, copies, roles, who pulls into it."""

from dataclasses import asdict
from typing import Annotated, Any

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import now_ms, when
from curbtick.errors import InputError, StoreError
from curbtick.fleet import vehicles
from curbtick.store import schema, tables
from curbtick.store.database.engine import database_url, refuse_absent, shown
from curbtick.store.history import Store, depots, open_store, roles, whole
from curbtick.store.sync import union

group = typer.Typer(
    help="The history's database: version, copies, roles, who pulls into it.", no_args_is_help=True
)


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="db")
    app.command("sync")(sync)


@group.command("upgrade")
def upgrade(db: Db = None, as_json: Json = False) -> None:
    """Bring a history to this program's version, or make one in an empty database of a server."""
    output = Output(as_json)
    done = schema.upgrade(db)
    words = "was made" if done.before is None else f"was at version {done.before}"
    output.say(f"The history {shown(database_url(db))} {words}; it is at version {done.after}.")
    output.done({"before": done.before, "after": done.after})


@group.command("copy")
def copy_(
    source: Annotated[str, typer.Argument(help="The history to copy: a file or a URL.")],
    target: Annotated[str, typer.Argument(help="A file, new or not, or a history on a server.")],
    as_json: Json = False,
) -> None:
    """Bring a history everything of another that it lacks; the other stays as it is. Good for a backup every night."""
    output = Output(as_json)
    if database_url(source) == database_url(target):
        raise InputError(
            "Both names are of the same history.", "Nothing was changed.", "Name another target."
        )
    with open_store(source) as from_, Store(target) as to, output.progress("Copying") as tick:
        done = union.copy(from_, to, tick)
    output.say(f"{done.records} records and {done.entries} entries were copied; the rest was there.")
    for words in _odd_words(done, "there"):
        output.say(words)
    output.done(asdict(done))


@group.command("check")
def check(db: Db = None, as_json: Json = False) -> None:
    """Check each record and entry of a history, and what follows from them against a fold made anew."""
    output = Output(as_json)
    with open_store(db) as store, output.progress("Checking"):
        wrong = whole.check(store)
    for words in wrong:
        output.say(words)
    output.say(
        "Nothing is wrong."
        if not wrong
        else "`curbtick db rebuild` makes anew what follows from the history."
    )
    output.done({"wrong": wrong})
    if wrong:
        raise typer.Exit(StoreError.exit_code)


@group.command("rebuild")
def rebuild(db: Db = None, as_json: Json = False) -> None:
    """Make anew everything that follows from a history's records and entries, which stay as they are."""
    output = Output(as_json)
    with open_store(db) as store, output.progress("Rebuilding") as tick:
        whole.rebuild(store, tick)
    output.say("What follows from the history was made anew.")
    output.done({"rebuilt": True})


@group.command("roles")
def roles_(
    apply: Annotated[bool, typer.Option("--apply", help="Make them in the database, as its owner.")] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Show the SQL of the roles bench, reader and steward, or make them."""
    output = Output(as_json)
    if apply:
        with open_store(db) as store:
            roles.apply(store)
        output.say(f"{', '.join(roles.ROLES)} are set up; give each bench a login of its own in one of them.")
    else:
        output.say(roles.sql())
    output.done({"roles": roles.ROLES, "applied": apply, "sql": roles.sql()})


@group.command("bench")
def bench(
    name: Annotated[str, typer.Argument(help="The bench, by the name it gives itself.")],
    depot: Annotated[str, typer.Option("--depot", help="The depot it stands in.")],
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Say which depot a bench stands in."""
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        depots.place_bench(connection, name, depot, now_ms())
    output.say(f"Bench {name} stands in {depot}.")
    output.done({"bench": name, "depot": depot})


@group.command("status")
def status(db: Db = None, as_json: Json = False) -> None:
    """Show the history's version, and which bench pulled what and when."""
    output = Output(as_json)
    refuse_absent(database_url(db))
    version = schema.version_of(db)
    benches = _benches(db) if version == tables.SCHEMA_VERSION else []
    output.say(f"{shown(database_url(db))}: {_version_words(version)}")
    output.table(
        ("bench", "depot", "pulls", "probes", "records first brought", "last pull"),
        [(b.name, b.depot, b.pulls, b.probes, b.new_records, when(b.last_pull_ms)) for b in benches],
    )
    output.done(_status(db, version, benches))


def _benches(db: str | None) -> list[depots.Bench]:
    with open_store(db) as store, store.read() as connection:
        return depots.of_benches(connection)


def _version_words(version: int | None) -> str:
    if version is None:
        return "empty. `curbtick db upgrade` makes a history in it."
    if version > tables.SCHEMA_VERSION:
        return f"version {version}, newer than this program, which knows {tables.SCHEMA_VERSION}: upgrade curbtick."
    return f"version {version}, as this program needs it."


def _status(db: str | None, version: int | None, benches: list[depots.Bench]) -> dict[str, Any]:
    return {
        "database": shown(database_url(db)),
        "version": version,
        "needed": tables.SCHEMA_VERSION,
        "benches": [found._asdict() for found in benches],
    }


def sync(
    own: Annotated[str, typer.Argument(help="The bench's own history, a file.")],
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Make two histories one: each gets what it lacks of the other, so that both say the same afterwards."""
    output = Output(as_json)
    if database_url(own) == database_url(db):
        raise InputError(
            "The bench's own history and the one to sync it with are the same.",
            "Nothing was changed.",
            "Name the server's history with --db or CURBTICK_DB.",
        )
    with open_store(own) as mine, open_store(db) as other, output.progress("Catching up") as tick:
        done = union.sync(mine, other, tick)
        with other.read() as connection:
            alike = vehicles.alike(connection)
    output.say(
        f"Sent {done.sent.records} records and {done.sent.entries} entries, got {done.got.records} records and "
        f"{done.got.entries} entries."
    )
    for words in _sync_words(done):
        output.say(words)
    for one, same in alike:
        output.say(
            f"{one.name} stands in it twice, as {one.number} and {same.number}: `curbtick vehicles same` joins them."
        )
    output.done({**asdict(done), "alike": [[one.id, same.id] for one, same in alike]})


def _sync_words(done: union.Synced) -> list[str]:
    words = []
    if done.forked:
        words.append(
            f"This history was copied or set back, and continued on both sides: {done.forked} of its entries stand "
            "under a new origin now. Nothing was lost."
        )
    return [*words, *_odd_words(done.sent, "there"), *_odd_words(done.got, "here")]


def _odd_words(moved: union.Moved, where: str) -> list[str]:
    """What of a transfer must be said, a sentence each."""
    counted = (
        (moved.unknown, "entries are of a kind not known here, carried as they came."),
        (moved.withheld, f"limit sets were kept back: {where} a steward makes them; ask one to sync."),
        (moved.damaged, "rows are damaged and were not sent; `curbtick db check` lists them."),
    )
    return [f"{count} {words}" for count, words in counted if count]
