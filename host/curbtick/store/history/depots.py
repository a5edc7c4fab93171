"""Who pulled what and when: benches and the depots they stand in, probes and how they wander between them."""

from typing import NamedTuple

from sqlalchemy import Connection, func, select

from curbtick.errors import InputError
from curbtick.store import tables
from curbtick.store.history import write


class Bench(NamedTuple):
    """A bench that pulled.

    pulls: how many.
    probes: different probes.
    new_records: records that it was the first to bring.
    """

    name: str
    depot: str | None
    pulls: int
    probes: int
    new_records: int
    last_pull_ms: int | None


class Visit(NamedTuple):
    """Pulls of one probe by one bench."""

    bench: str
    depot: str | None
    pulls: int
    first_ms: int
    last_ms: int


def place_bench(connection: Connection, name: str, depot: str, at_ms: int) -> None:
    """Say which depot a bench stands in. Raises InputError for a bench that never pulled."""
    if connection.scalar(select(tables.benches.c.name).where(tables.benches.c.name == name)) is None:
        raise InputError(
            f"No bench {name} has pulled into this history.",
            "Nothing was changed.",
            "`curbtick db status` lists the benches by the names they give themselves.",
        )
    write.note(connection, "bench_placed", {"bench": name, "depot": depot}, at_ms)


def of_benches(connection: Connection) -> list[Bench]:
    """Every bench with what it pulled, by name."""
    pulls, benches = tables.pulls.c, tables.benches.c
    query = (
        select(
            benches.name,
            benches.depot,
            func.count(pulls.id),
            func.count(pulls.probe_id.distinct()),
            func.coalesce(func.sum(pulls.new_count), 0),
            func.max(pulls.at_ms),
        )
        .select_from(tables.benches.outerjoin(tables.pulls, pulls.bench == benches.name))
        .group_by(benches.name, benches.depot)
        .order_by(benches.name)
    )
    return [Bench(*row) for row in connection.execute(query)]


def visits(connection: Connection, probe_key: int) -> list[Visit]:
    """Which benches pulled a log of a probe, in the order they first did: its way between the depots."""
    pulls, benches = tables.pulls.c, tables.benches.c
    first_ms = func.min(pulls.at_ms)
    query = (
        select(pulls.bench, benches.depot, func.count(), first_ms, func.max(pulls.at_ms))
        .select_from(tables.pulls.outerjoin(tables.benches, pulls.bench == benches.name))
        .where(pulls.probe_id == probe_key)
        .group_by(pulls.bench, benches.depot)
        .order_by(first_ms, pulls.bench)
    )
    return [Visit(*row) for row in connection.execute(query)]
