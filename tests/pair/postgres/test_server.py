"""The history on a real PostgreSQL: exactly once through faults, versions, roles, and words for every trouble."""

import os
import signal
from pathlib import Path

import psycopg
import pytest
from curbtick.commands import main
from curbtick.errors import InputError, StoreError
from curbtick.fleet import vehicles
from curbtick.limits import sets
from curbtick.store import tables
from curbtick.store.database.engine import bare_engine, database_url
from curbtick.store.fold import times
from curbtick.store.history import Store, roles, whole
from curbtick.store.schema import upgrade, version_of
from curbtick.store.sync.union import Moved, sync
from sqlalchemy import inspect, select, text
from typer.testing import CliRunner

from tests import programs
from tests.pair.postgres import server as postgres
from tests.pair.postgres.fleet_benches import Day, Fleet, judge
from tests.unit.bench.benchdata import NOON_MS, PROBE, reading
from tests.unit.bench.store.test_contract import count, depot_day, server

__all__ = ["server"]


def test_eight_benches_through_cuts_kills_and_crashes_store_every_record_once(
    server: postgres.Server,
) -> None:
    url = server.new_history()
    fleet = Fleet(benches=8, probes=8, readings=800, seed=1, batch=80)
    faults = Day(server, url, fleet, rest_s=1.0).run()
    found = judge(url, fleet)
    assert min(faults.cuts, faults.crashes, faults.kills) >= 1
    assert found.records == 8 * (800 + 2)
    assert (found.lost, found.doubled) == (0, 0)
    assert found.doubled_pulls > 0, "the benches never overlapped"


def test_a_crash_in_the_middle_of_a_transaction_leaves_all_or_nothing(server: postgres.Server) -> None:
    url = server.new_history()
    with Store(url) as store:
        store.ingest(PROBE, [reading(1)])
        with pytest.raises(StoreError, match="does not answer"), store.write() as connection:
            connection.execute(tables.meta.insert().values(key="half", value="done"))
            server.stop(signal.SIGQUIT)
            connection.execute(select(tables.meta))
        server.start()
        assert store.ingest(PROBE, [reading(1), reading(2)])[0] == 2
        with store.read() as connection:
            assert connection.scalar(select(tables.meta.c.value).where(tables.meta.c.key == "half")) is None


def test_what_is_acknowledged_is_on_the_disk_whatever_the_servers_default(server: postgres.Server) -> None:
    url = server.new_history()
    with server.connect() as connection:
        connection.execute(f"ALTER DATABASE {url.rsplit('/', 1)[1]} SET synchronous_commit = off")
    with Store(url) as store, store.read() as connection:
        assert connection.scalar(text("SHOW synchronous_commit")) == "on"


@pytest.mark.parametrize("engine", ["sqlite", "postgresql"])
def test_an_upgrade_makes_the_first_version_and_changes_none_that_is_there(
    engine: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    """What the engine says that it holds is what the program reads and writes: every column and index."""
    where = str(tmp_path / "h.db")
    if engine == "postgresql":
        where = request.getfixturevalue("server").new_database()
    assert version_of(where) is None
    assert upgrade(where) == (None, 1)
    made = _described(where)
    with Store(where) as store:
        store.ingest(PROBE, [reading(1)])
    assert upgrade(where) == (1, 1)
    assert version_of(where) == 1
    assert _described(where) == made == _declared()
    with Store(where) as store:
        assert count(store) == 1


_Described = dict[str, tuple[set[str], set[tuple[str, ...]]]]


def _described(where: str) -> _Described:
    """Of each table the columns and the indexed columns, as the database says."""
    engine = bare_engine(database_url(where))
    found = inspect(engine)
    schemas = (None,) if where.endswith(".db") else (None, "cache")
    described = {
        name: (
            {
                f"{one['name']} {'null' if one['nullable'] else 'not null'}"
                for one in found.get_columns(name, schema)
            },
            {tuple(str(column) for column in one["column_names"]) for one in found.get_indexes(name, schema)}
            - {tuple(one["column_names"]) for one in found.get_unique_constraints(name, schema)},
        )
        for schema in schemas
        for name in found.get_table_names(schema)
    }
    engine.dispose()
    return described


def _declared() -> _Described:
    return {
        name: (
            {f"{column.name} {'null' if column.nullable else 'not null'}" for column in table.columns},
            {tuple(column.name for column in index.columns) for index in table.indexes},
        )
        for metadata in (tables.immutable, tables.cache)
        for name, table in metadata.tables.items()
    }


def test_an_empty_database_and_a_foreign_one_are_refused(server: postgres.Server) -> None:
    url = server.new_database()
    with pytest.raises(StoreError, match="no history in") as refused:
        Store(url)
    assert "curbtick db upgrade" in refused.value.next_step
    with server.connect(url.rsplit("/", 1)[1]) as connection:
        connection.execute("CREATE TABLE things (a int)")
    for open_ in (Store, upgrade):
        with pytest.raises(StoreError, match="not a history"):
            open_(url)


def test_a_password_is_refused_as_an_argument_and_never_shown(
    server: postgres.Server, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    url = server.new_history()
    loud = url.replace("steward@", f"steward:{server.password}@")
    for told in (loud, f"{url}?password={server.password}"):
        with pytest.raises(InputError, match="carries a password") as refused:
            Store(told)
        assert server.password not in str(refused.value)
    monkeypatch.delenv("PGPASSWORD")
    with pytest.raises(StoreError, match="no password supplied"):
        Store(url)
    secret = tmp_path / "pgpass"
    secret.write_text(f"127.0.0.1:*:*:steward:{server.password}\n")
    secret.chmod(0o600)
    monkeypatch.setenv("PGPASSFILE", str(secret))
    Store(url).close()
    monkeypatch.delenv("PGPASSFILE")
    monkeypatch.setenv("CURBTICK_DB", loud)
    with Store() as store, pytest.raises(StoreError) as shown, store.write() as connection:
        connection.execute(text("SELECT nonsense"))
    assert server.password not in str(shown.value)


def test_tls_is_asked_for_by_the_url(server: postgres.Server, tmp_path: Path) -> None:
    """A connection that insists on TLS is not made in the clear, nor to a server that nobody vouches for."""
    programs.needed(programs.OPENSSL)
    url = server.new_history()
    with pytest.raises(StoreError, match="SSL"):
        Store(f"{url}?sslmode=require")
    certificate = server.speak_tls()
    with Store(f"{url}?sslmode=verify-full&sslrootcert={certificate}") as store, store.read() as connection:
        query = text("SELECT version FROM pg_stat_ssl WHERE pid = pg_backend_pid()")
        assert str(connection.scalar(query)).startswith("TLSv1.")
    (tmp_path / "other.crt").write_text("")
    with pytest.raises(StoreError, match="certificate"):
        Store(f"{url}?sslmode=verify-full&sslrootcert={tmp_path / 'other.crt'}")


def test_a_server_out_of_reach_is_said(server: postgres.Server) -> None:
    url = server.new_history().replace(f":{server.port}/", ":1/")
    done = CliRunner().invoke(main.app, ["db", "status", "--db", url])
    assert done.exit_code == 4


@pytest.fixture
def with_roles(server: postgres.Server) -> str:
    """A history with a day in it, its roles, and a login of each."""
    url = server.new_history()
    with Store(url) as store:
        depot_day(store)
        roles.apply(store)
        roles.apply(store)
    with server.connect() as connection:
        for role in roles.ROLES:
            login = role.replace("curbtick", "login")
            connection.execute(f"DROP ROLE IF EXISTS {login}")
            connection.execute(f"CREATE ROLE {login} LOGIN PASSWORD '{server.password}' IN ROLE {role}")
    return url


def as_role(url: str, role: str) -> Store:
    return Store(url.replace("steward@", f"login_{role}@"))


def test_a_bench_can_do_its_work_and_no_harm(with_roles: str) -> None:
    with as_role(with_roles, "bench") as store:
        before = count(store)
        assert store.ingest(PROBE, [reading(seq) for seq in (500, 501, 503)], first_seq=500)[0] == 501
        store.ingest(PROBE, [reading(502)])
        store.ingest("e660ffffffffffff", [reading(1)], bench="new bench")
        store.anchor(PROBE, times.Anchor(1, 5, NOON_MS, 10))
        with store.write() as connection:
            van = vehicles.find(connection, "Van 1")
            vehicles.rename(connection, van.id, "Van 11", NOON_MS)
        with pytest.raises(StoreError, match="does not allow this"), store.write() as connection:
            sets.save(connection, sets.factory(), "fit", NOON_MS)
        assert count(store) == before + 5
        assert whole.check(store) == []


_VERBS = {
    "SELECT": "SELECT count(*) FROM {0}",
    "UPDATE": "UPDATE {0} SET {1} = {1}",
    "DELETE": "DELETE FROM {0}",
    "TRUNCATE": "TRUNCATE {0}",
    "LOCK": "SELECT {1} FROM {0} FOR UPDATE",
    "INSERT": "INSERT INTO {0} SELECT * FROM {0} WHERE false",
    "DROP": "DROP TABLE {0}",
    "ALTER": "ALTER TABLE {0} ADD more int",
}
_CACHED = {"SELECT", "UPDATE", "DELETE", "LOCK", "INSERT"}
_MAY = {
    "reader": ({"SELECT"}, {"SELECT"}, {"SELECT"}),
    "bench": ({"SELECT"}, {"SELECT", "INSERT"}, _CACHED),
}
"""By role what it may do with the table of marks, with the two tables of the history, and with the cache."""


_MORE = (
    "CREATE TABLE more (a int)",
    "CREATE TABLE cache.more (a int)",
    "CREATE SCHEMA more",
    "CREATE FUNCTION f() RETURNS int AS 'SELECT 1' LANGUAGE sql",
)


@pytest.mark.parametrize("role", list(_MAY))
def test_every_right_of_a_role_is_the_one_that_is_meant(
    with_roles: str, role: str, server: postgres.Server
) -> None:
    database, wrong = with_roles.rsplit("/", 1)[1], []
    with server.connect(database, f"login_{role}") as connection:
        connection.execute("SET search_path = public, cache")
        for table in (*tables.immutable.tables.values(), *tables.cache.tables.values()):
            kind = 0 if table is tables.meta else 1 if table.metadata is tables.immutable else 2
            for verb, form in _VERBS.items():
                may = _does(connection, form.format(table.name, table.columns[0].name))
                if may != (verb in _MAY[role][kind]):
                    wrong.append(f"{role} {verb} {table.name}: {may}")
        for words in _MORE:
            if _does(connection, words):
                wrong.append(f"{role} {words}")
    assert wrong == []


def _does(connection: psycopg.Connection, words: str) -> bool:
    """Whether a statement is allowed; it is taken back."""
    try:
        with connection.transaction(force_rollback=True):
            connection.execute(words)
    except psycopg.errors.InsufficientPrivilege:
        return False
    return True


def test_limit_sets_made_offline_come_in_by_a_steward(with_roles: str, tmp_path: Path) -> None:
    with Store(tmp_path / "own.db") as own:
        with own.write() as connection:
            sets.save(connection, sets.factory(), "fit", NOON_MS)
        with as_role(with_roles, "bench") as store:
            assert sync(own, store).sent.withheld == 1
            assert count(store, tables.limit_sets) == 0
        with as_role(with_roles, "steward") as store:
            assert sync(own, store).sent.entries == 1
        with as_role(with_roles, "bench") as store, store.read() as connection:
            assert sets.load(connection)["revision"] == 2
            assert sync(own, store).sent == Moved()


def test_a_reader_sees_everything_and_changes_nothing(with_roles: str, tmp_path: Path) -> None:
    with as_role(with_roles, "reader") as store:
        assert count(store) > 0
        with pytest.raises(StoreError, match="does not allow this"):
            store.ingest(PROBE, [reading(900)])
    url = with_roles.replace("steward@", "login_reader@")
    done = CliRunner().invoke(main.app, ["report", "--out", str(tmp_path / "site"), "--db", url])
    assert done.exit_code == 0, done.output


def test_a_steward_may_repair(with_roles: str) -> None:
    with as_role(with_roles, "steward") as store:
        with store.write() as connection:
            connection.execute(tables.findings.delete())
        assert whole.check(store) != []
        whole.rebuild(store)
        assert whole.check(store) == []


def test_the_commands_work_on_a_server(
    server: postgres.Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    own, url = tmp_path / "own.db", server.new_database()
    with Store(own) as store:
        depot_day(store)
    monkeypatch.setitem(os.environ, "CURBTICK_DB", url)
    for words in (
        ["db", "status"],
        ["db", "upgrade"],
        ["db", "roles", "--apply"],
        ["sync", str(own)],
        ["db", "status", "--json"],
        ["vehicles", "--json"],
        ["work", "--json"],
        ["probes", "--json"],
        ["limits", "show"],
        ["db", "copy", url, str(tmp_path / "back.db")],
    ):
        done = CliRunner().invoke(main.app, words)
        assert done.exit_code == 0, (words, done.output)
    with Store(tmp_path / "back.db") as store, Store(own) as before:
        assert count(store, tables.records) == count(before, tables.records)
