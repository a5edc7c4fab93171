"""Disks that are full, fail, or may only be read: said of the right disk, and what can be read is read."""

import ctypes
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from curbtick.errors import InputError, StoreError
from curbtick.report import build
from curbtick.store import tables
from curbtick.store.database import sealed
from curbtick.store.history import Store, open_store
from sqlalchemy import func, select

from tests.unit.bench.benchdata import NOON_MS, PROBE, Logbook, add_round, add_vehicle, reading


@pytest.fixture
def history(tmp_path: Path) -> Path:
    folder = tmp_path / "h #1"
    folder.mkdir()
    with Store(folder / "history.db") as store:
        add_round(store, 1, [add_vehicle(store, "Van 1")])
        low = {"verdict": 2, "reasons": 1, "level_cdb": -2500}
        Logbook(store).visit(NOON_MS, {"round_id": 1}, {"round_id": 1, "position": 2, **low})
    return folder / "history.db"


def count(store: Store) -> int:
    with store.read() as connection:
        return connection.scalar(select(func.count()).select_from(tables.readings)) or 0


@contextmanager
def files_of_at_most(size_bytes: int) -> Iterator[None]:
    """No file of this process may grow beyond a size: SQLite then says what it says on a disk that fails."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size_bytes, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def test_a_disk_that_fails_is_not_taken_for_a_server(history: Path) -> None:
    with files_of_at_most(8192), pytest.raises(StoreError, match="The disk that holds .* fails") as caught:
        Store(history)
    assert "server" not in caught.value.next_step


def test_a_disk_without_room_for_sqlites_notes_is_full(
    history: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    usage = shutil.disk_usage(history)
    monkeypatch.setattr(shutil, "disk_usage", lambda _path: usage._replace(free=0))
    with files_of_at_most(8192), pytest.raises(StoreError, match="The disk that holds .* is full"):
        Store(history)


def test_pages_that_cannot_be_written_are_not_blamed_on_the_history(history: Path, tmp_path: Path) -> None:
    (tmp_path / "pages" / "index.html").mkdir(parents=True)
    with (
        open_store(history) as store,
        pytest.raises(InputError, match=f"cannot be written to {tmp_path}") as caught,
    ):
        build(store, tmp_path / "pages", NOON_MS, NOON_MS)
    assert "name another folder" in caught.value.next_step


@pytest.mark.parametrize("changing", [False, True], ids=["read", "write"])
def test_an_error_of_another_file_is_passed_on_as_it_is(history: Path, changing: bool) -> None:
    with (
        open_store(history) as store,
        pytest.raises(OSError, match="No space left"),
        store.write() if changing else store.read(),
    ):
        raise OSError(28, "No space left on device")


@pytest.fixture
def sealed_history(history: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Its folder may not be written in, whoever runs the test."""
    allowed = os.access
    monkeypatch.setattr(sealed.os, "access", lambda path, mode: mode != os.W_OK and allowed(path, mode))
    return history


def test_a_history_that_may_only_be_read_is_read_and_nothing_is_made_beside_it(sealed_history: Path) -> None:
    before = sealed_history.read_bytes()
    with open_store(sealed_history) as store:
        assert count(store) == 2
        assert [path.name for path in sealed_history.parent.iterdir()] == ["history.db"]
    assert sealed_history.read_bytes() == before


def test_a_change_of_it_is_refused_with_what_to_do(sealed_history: Path) -> None:
    with open_store(sealed_history) as store, pytest.raises(StoreError, match="opened for writing") as caught:
        store.ingest(PROBE, [reading(9)])
    assert "copy to a folder of your own" in caught.value.next_step


def test_what_changes_while_it_is_read_is_not_believed(sealed_history: Path) -> None:
    with open_store(sealed_history) as store:
        with pytest.raises(StoreError, match="changed while it was read"), store.read() as connection:
            connection.execute(select(tables.readings)).all()
            with sqlite3.connect(sealed_history) as other:
                other.execute("UPDATE readings SET verdict = 3")
            other.close()
        with store.read() as connection:
            assert set(connection.scalars(select(tables.readings.c.verdict))) == {3}


def test_changes_that_stand_beside_it_are_read_too(sealed_history: Path) -> None:
    other = sqlite3.connect(sealed_history, isolation_level=None)
    other.execute("UPDATE readings SET verdict = 3")
    with open_store(sealed_history) as store, store.read() as connection:
        assert set(connection.scalars(select(tables.readings.c.verdict))) == {3}
        other.execute("UPDATE readings SET verdict = 2")
    other.close()


def _obey_file_modes() -> None:
    """Before a program starts: even the superuser's may then write only what the file's mode allows."""
    drop_from_bounding_set, override_modes = 24, 1
    if sys.platform == "linux":
        ctypes.CDLL(None).prctl(drop_from_bounding_set, override_modes)


@pytest.mark.parametrize(
    "words",
    [("work",), ("report", "--out", "pages"), ("reading", "302a11-2"), ("export", "all.csv"), ("db", "copy")],
    ids=" ".join,
)
def test_commands_that_only_read_work_on_a_folder_that_may_only_be_read(
    words: tuple[str, ...], history: Path, tmp_path: Path
) -> None:
    history.chmod(0o444)
    history.parent.chmod(0o555)
    named = [str(history), str(tmp_path / "copy.db")] if words[0] == "db" else ["--db", str(history)]
    command = [sys.executable, "-c", "from curbtick.commands.start import main; main()", *words, *named]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(path for path in sys.path if path)}
    found = subprocess.run(
        command,
        cwd=tmp_path,
        env=environment,
        preexec_fn=_obey_file_modes,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    history.parent.chmod(0o755)
    assert found.returncode == 0, found.stderr
