"""`curbtick probes` and `curbtick pull`: who is plugged in, what the history knows of it, and taking its
records over.
"""

import socket
from dataclasses import asdict
from typing import Annotated, Any

import typer

from curbtick.commands.output import Db, Json, Output
from curbtick.dates import now_ms, when
from curbtick.errors import LinkError, NoHistoryError
from curbtick.exchange.pull import Pull, pull_probe
from curbtick.fleet.probes import health
from curbtick.fleet.probes.health import Health
from curbtick.fleet.probes.names import describe as describe_probe
from curbtick.link.client import Client, connect
from curbtick.link.port import find_ports
from curbtick.store.history import open_store

Port = Annotated[
    str | None,
    typer.Option("--port", help="Port, pty path, socket://host:port or probe id.", show_default=False),
]
group = typer.Typer(help="Probes: plugged in and known.", invoke_without_command=True)


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.add_typer(group, name="probes")
    app.command("pull")(pull)


@group.callback()
def probes(
    ctx: typer.Context,
    port: Port = None,
    stats: Annotated[bool, typer.Option("--stats", help="Show the link's counters.")] = False,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """List the probes that are plugged in and the ones the history knows."""
    if ctx.invoked_subcommand is not None:
        return
    output = Output(as_json)
    paths = [port] if port else [found.path for found in find_ports()]
    plugged = [_ask(path, stats) for path in paths]
    known = _known(output, db)
    for found in plugged:
        output.say(_plugged_words(found))
    if not plugged:
        output.say("No probe is plugged in.")
    output.table(
        ("known", "last pulled", "records", "starts without a time", "flags"), [_row(p) for p in known]
    )
    output.done({"plugged": plugged, "known": [_object(p) for p in known]})
    if port and "error" in plugged[0]:
        raise typer.Exit(LinkError.exit_code)


def _known(output: Output, db: str | None) -> list[Health]:
    """Probes of the history; a bench that is being set up has none yet, and sees its probe all the same."""
    try:
        with open_store(db) as store, store.read() as connection:
            return health.of_probes(connection, now_ms())
    except NoHistoryError as error:
        output.say(f"{error.what} {error.next_step}")
        return []


def _ask(path: str, stats: bool) -> dict[str, Any]:
    try:
        with connect(path) as probe:
            said = {"paired": probe.paired, "notes": probe.greeting.shortcomings()}
            found = {"port": path, **asdict(probe.greeting), **said}
            return {**found, "stats": probe.stats()} if stats else found
    except LinkError as error:
        return {"port": path, "error": error.what, "next_step": error.next_step}


def _plugged_words(found: dict[str, Any]) -> str:
    if "error" in found:
        return f"{found['port']}: {found['error']} {found['next_step']}"
    words = (
        f"{found['port']}: probe {found['unique_id']}, firmware {found['firmware']}, "
        f"records {found['first_seq']} to {found['last_seq']}, acknowledged to {found['acknowledged_seq']}, "
        f"limits {found['limits_revision']}, battery {found['battery_mv']} mV, "
        f"{'paired' if found['paired'] else 'not paired'} with this bench"
    )
    notes = "".join(f"\n  {note}" for note in found["notes"])
    counters = "".join(f"\n  {name} {value}" for name, value in found.get("stats", {}).items())
    return words + notes + counters


def _row(probe: Health) -> tuple[object, ...]:
    stored = ", ".join(f"{first}-{last}" for first, last in probe.stored)
    return probe.name, when(probe.last_pull_ms), stored, probe.unanchored_boots, "; ".join(probe.flags)


def _object(probe: Health) -> dict[str, Any]:
    return {
        "name": probe.name,
        "unique_id": probe.unique_id,
        "log_id": probe.log_id,
        "depot": probe.depot,
        "last_pull_ms": probe.last_pull_ms,
        "stored": probe.stored,
        "starts_without_time": probe.unanchored_boots,
        "drift_db": probe.drift_db,
        "flags": probe.flags,
    }


@group.command("pair")
def pair(port: Port = None, as_json: Json = False) -> None:
    """Share a key with the probe, which must have been switched on with STEP held."""
    output = Output(as_json)
    with connect(port) as probe:
        key_id = probe.pair(socket.gethostname())
    output.say(f"This bench is paired with probe {probe.unique_id} as key {key_id}.")
    output.done({"probe": probe.unique_id, "key_id": key_id})


@group.command("keys")
def keys(
    port: Port = None,
    revoke: Annotated[
        int | None, typer.Option(help="Have the probe forget this key.", show_default=False)
    ] = None,
    as_json: Json = False,
) -> None:
    """List the keys a probe holds, or have it forget one."""
    output = Output(as_json)
    with connect(port) as probe:
        if revoke is not None:
            probe.revoke(revoke)
        found = probe.keys()
    output.table(("key", "bench", "counter"), [(key.key_id, key.name, key.counter) for key in found])
    output.done({"probe": probe.unique_id, "keys": [asdict(key) for key in found], "revoked": revoke})


@group.command("self-test")
def self_test(port: Port = None, as_json: Json = False) -> None:
    """Have the probe test itself; the result comes with the next pull."""
    output = Output(as_json)
    with connect(port) as probe:
        probe.self_test()
    output.say("The self-test was run; pull to see what it says.")
    output.done({"probe": probe.unique_id})


@group.command("describe")
def describe(
    probe: Annotated[str, typer.Argument(help="The probe's name.")],
    name: Annotated[str | None, typer.Option(help="What to call it.", show_default=False)] = None,
    depot: Annotated[str | None, typer.Option(help="Where it belongs.", show_default=False)] = None,
    db: Db = None,
    as_json: Json = False,
) -> None:
    """Name a probe or say which depot it belongs to now; its history stays one, wherever it goes."""
    output = Output(as_json)
    with open_store(db) as store, store.write() as connection:
        describe_probe(connection, probe, name, depot, now_ms())
    output.say(f"Probe {name or probe}{f' belongs to {depot}' if depot else ''}.")
    output.done({"probe": name or probe, "depot": depot})


def pull(port: Port = None, db: Db = None, as_json: Json = False) -> None:
    """Take over every record of the probe that is plugged in, each exactly once."""
    output = Output(as_json)
    with open_store(db, making=True) as store, connect(port) as probe:
        found = pull_with_progress(output, store, probe)
    output.say(_pull_words(found))
    output.done(asdict(found))


def pull_with_progress(output: Output, store: Any, probe: Client) -> Pull:
    """Pull, showing how far it is."""
    with output.progress(f"Pulling {probe.unique_id}") as tick:
        return pull_probe(store, probe, tick)


def _pull_words(found: Pull) -> str:
    words = f"Probe {found.probe}: {found.records} records pulled, {found.new} new, {found.spent_s:.1f} s."
    if not found.paired:
        words += " This bench is not paired with it, so the probe keeps them all."
    elif found.may_change:
        words += f" Acknowledged up to {found.acknowledged_seq}."
    return " ".join([words, *found.notes])
