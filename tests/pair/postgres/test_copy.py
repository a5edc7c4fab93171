"""A history moves between a file and a server, and back, with nothing changed."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick import dates
from curbtick.commands import main
from curbtick.commands.history import report
from curbtick.commands.probe import limits
from curbtick.errors import InputError, StoreError
from curbtick.store import copy, tables
from curbtick.store.history import Store
from curbtick.store.schema import COPYING
from typer.testing import CliRunner

from tests.pair.postgres import server as postgres
from tests.unit.bench.benchdata import NOON_MS, PROBE, Logbook, reading
from tests.unit.bench.commands.test_commands import NOW_MS
from tests.unit.bench.report.reportdata import Depot
from tests.unit.bench.store.test_contract import count, depot_day, server

__all__ = ["server"]


@pytest.fixture
def history(tmp_path: Path) -> Iterator[Store]:
    with Store(tmp_path / "history.db") as made:
        depot_day(made)
        yield made


def digest_of(store: Store) -> str:
    with store.read() as connection:
        return copy.digest(connection)


def test_a_file_moves_to_a_server_and_back(server: postgres.Server, history: Store, tmp_path: Path) -> None:
    url, back = server.new_history(), tmp_path / "back.db"
    with Store(url, filling=True) as there:
        sent = copy.copy(history, there)
        assert (sent.rows, sent.digest) == (sent.fresh, digest_of(history))
    with Store(url) as there, Store(back, filling=True) as again:
        assert copy.copy(there, again) == sent
    with Store(back) as again:
        assert digest_of(again) == digest_of(history)
        for table in tables.metadata.sorted_tables:
            assert count(again, table) == count(history, table), table.name


def test_a_moved_history_goes_on_with_new_keys(server: postgres.Server, history: Store) -> None:
    url = server.new_history()
    with Store(url, filling=True) as there:
        copy.copy(history, there)
    with Store(url) as there:
        before = count(there)
        assert there.ingest(PROBE, [reading(1000)], first_seq=1000)[0] == 1000
        assert count(there) == before + 1


def test_a_copy_broken_off_is_not_used_and_goes_on(
    server: postgres.Server, history: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(copy, "PORTION", 7)
    url, portions = server.new_history(), 0

    def break_off(_done: int, _total: int) -> None:
        nonlocal portions
        portions += 1
        if portions == 9:
            raise KeyboardInterrupt

    with Store(url, filling=True) as there, pytest.raises(KeyboardInterrupt):
        copy.copy(history, there, break_off)
    with pytest.raises(StoreError, match="not filled yet"):
        Store(url)
    with Store(url, filling=True) as there:
        found = copy.copy(history, there)
        assert 0 < found.fresh < found.rows
        assert found.digest == digest_of(history) == digest_of(there)
    Store(url).close()


def test_a_row_changed_on_the_way_is_noticed(server: postgres.Server, history: Store) -> None:
    url = server.new_history()

    def tamper(done: int, total: int) -> None:
        if done == total:
            with there.write() as connection:
                connection.execute(tables.readings.update().values(level_cdb=-1))

    with Store(url, filling=True) as there, pytest.raises(StoreError, match="differs"):
        copy.copy(history, there, tamper)
    with pytest.raises(StoreError, match="not filled yet"):
        Store(url)


def test_a_history_is_never_copied_over_another(
    server: postgres.Server, history: Store, tmp_path: Path
) -> None:
    url = server.new_history()
    with Store(url) as there:
        Logbook(there).visit(NOON_MS, {})
    with Store(url, filling=True) as there, pytest.raises(InputError, match="not empty"):
        copy.copy(history, there)
    with Store(tmp_path / "new.db", filling=True) as there:
        with there.write() as connection:
            connection.execute(tables.meta.insert().values(key=COPYING, value="another"))
        with pytest.raises(InputError, match="part of another"):
            copy.copy(history, there)


def test_every_page_fit_and_export_is_the_same_from_a_moved_history(
    server: postgres.Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A depot with snippets, leaks, swaps and clock-less starts, told by both engines."""
    for room in (limits, report):
        monkeypatch.setattr(room, "now_ms", lambda: NOW_MS)
    Depot(tmp_path, NOW_MS).store.close()
    own, url = str(tmp_path / "depot.db"), server.new_history()
    with Store(own) as from_, Store(url, filling=True) as to:
        copy.copy(from_, to)
    for words in (
        ["vehicles"],
        ["work"],
        ["assign"],
        ["limits", "show"],
        ["limits", "fit"],
        ["export", str(tmp_path / "export.csv")],
        ["report", "--out", str(tmp_path / "site"), "--day", dates.date(NOW_MS)],
    ):
        told = [_told(tmp_path, [*words, "--json", "--db", where]) for where in (own, url)]
        assert told[0] == told[1], words


def _told(folder: Path, words: list[str]) -> tuple[str, dict[str, bytes]]:
    """What a command says and writes."""
    done = CliRunner().invoke(main.app, words)
    assert done.exit_code == 0, (words, done.output)
    files = [folder / "export.csv", *sorted((folder / "site").rglob("*"))]
    written = {str(path): path.read_bytes() for path in files if path.is_file()}
    return done.stdout, written
