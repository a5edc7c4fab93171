"""`curbtick db` and `curbtick sync`: the history's database itself: version, copies, roles, who pulls into it."""

from dataclasses import asdict
from typing import Annotated, Any

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import now_ms, when
from curbtick.errors import InputError
from curbtick.fleet.work import assign, findings
from curbtick.store import copy, depots, roles, schema, tables
from curbtick.store.database.engine import database_url, refuse_absent, shown
from curbtick.store.history import Store, open_store
from curbtick.store.sync import merge
from curbtick.store.sync.merge import Synced
from curbtick.store.sync.work import Work

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
    target: Annotated[str, typer.Argument(help="A new file, or an empty history on a server.")],
    as_json: Json = False,
) -> None:
    """Copy a whole history with nothing changed, and compare the digests of both. Broken off, it goes on."""
    output = Output(as_json)
    if database_url(source) == database_url(target):
        raise InputError(
            "Both names are of the same history.", "Nothing was changed.", "Name another target."
        )
    with open_store(source) as from_, Store(target, filling=True) as to, output.progress("Copying") as tick:
        done = copy.copy(from_, to, tick)
    output.say(
        f"{done.rows} rows are in both, {done.fresh} of them copied now. SHA-256 of both: {done.digest}"
    )
    output.done(done._asdict())


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
    """Bring what a bench pulled and noted in its own file, while the server was out of reach, into the server's
    history.
    """
    output = Output(as_json)
    if database_url(own) == database_url(db):
        raise InputError(
            "The bench's own history and the one to bring it to are the same.",
            "Nothing was changed.",
            "Name the server's history with --db or CURBTICK_DB.",
        )
    with open_store(own) as from_, open_store(db) as to, output.progress("Catching up") as tick:
        done = merge.sync(from_, to, tick, assign.settle)
        with to.write() as connection:
            findings.refresh(connection)
    output.say(_sync_words(done))
    output.done(asdict(done))


def _sync_words(done: Synced) -> str:
    words = f"{done.pulls} pulls brought {done.new} records; {done.doubled} more were there already."
    if done.clashed_rounds:
        numbers = ", ".join(map(str, done.clashed_rounds))
        words += (
            f" Round numbers {numbers} mean other vehicles there; readings of the file keep the vehicles they "
            "were taken of."
        )
    return words + _work_words(done.work)


def _work_words(work: Work) -> str:
    words = ""
    if work.assignments:
        words += f" {work.assignments} assignments were new there."
    if work.findings or work.steps or work.swaps:
        words += f" Noted work: {work.findings} findings, {work.steps} steps and {work.swaps} swaps were new there."
    if work.limit_sets:
        words += f" {work.limit_sets} limit sets were new there."
    if work.clashed_limits:
        numbers = ", ".join(map(str, work.clashed_limits))
        words += (
            f" Limit sets {numbers} are other ones there: readings of the file were judged by the file's."
        )
    if work.withheld_limits:
        numbers = ", ".join(map(str, work.withheld_limits))
        words += (
            f" Limit sets {numbers} stay in the file: there a steward makes them; ask one to sync this file."
        )
    return words
