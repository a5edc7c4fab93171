"""`curbtick install` against a real MicroPython (the unix port) at its raw prompt, over a pty, by the real mpremote."""

import contextlib
import os
import re
import subprocess
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from curbtick.commands.probe import install as cli_install
from curbtick.errors import CurbtickError, LinkError
from curbtick.install import image as firmware_image
from curbtick.install import versions
from curbtick.install.board_files import BoardFiles, NoPromptError
from curbtick.install.image import Image
from curbtick.link import client
from curbtick.virtual.probe.micropython import find_micropython
from curbtick.virtual.probe.process import VirtualProbe
from curbtick.yard.ear.ear import Ear as YardEar
from curbtick.yard.ear.probe_state import ProbeState
from curbtick_probe.board.rp2 import pins

TINY = Image({"main.mpy": b"first", "curbtick_probe/app.mpy": bytes(range(256)) * 5}, 6, 3)
OTHER = Image({"main.mpy": b"second", "curbtick_probe/dsp/x.mpy": b"\x03\x04\x00\xff" * 300}, 6, 3)
PLENTY = 1_000_000


@contextlib.contextmanager
def _pty_program(command: list[str], folder: Path) -> Iterator[str]:
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    process = subprocess.Popen(command, stdin=master, stdout=master, stderr=master, cwd=folder)
    try:
        yield os.ttyname(slave)
    finally:
        process.kill()
        process.wait()
        os.close(master)
        os.close(slave)


@pytest.fixture
def board(tmp_path: Path) -> Iterator[BoardFiles]:
    with (
        _pty_program([*find_micropython(), "-X", "heapsize=2m"], tmp_path) as port,
        BoardFiles(port) as files,
    ):
        yield files


def _put(board: BoardFiles, image: Image, root: Path, free_bytes: int = PLENTY) -> versions.Installed:
    steps: list[tuple[int, int]] = []
    done = versions.install(board, image, free_bytes, lambda a, b: steps.append((a, b)), str(root))
    assert steps[-1] == (image.size, image.size)
    return done


def _on_disk(root: Path, slot: str) -> dict[str, bytes]:
    folder = root / "fw" / slot
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and path.name != versions.MANIFEST
    }


def test_first_install_lands_whole_and_in_force(board: BoardFiles, tmp_path: Path) -> None:
    done = _put(board, TINY, tmp_path)
    assert (done.slot, done.version, done.before) == ("a", TINY.digest, None)
    assert _on_disk(tmp_path, "a") == TINY.files
    assert (tmp_path / "fw/active").read_text() == "a"
    assert (tmp_path / "main.py").read_bytes() == firmware_image.chooser()


def test_an_update_keeps_the_version_before_and_the_readings(board: BoardFiles, tmp_path: Path) -> None:
    (tmp_path / "probe").mkdir()
    (tmp_path / "probe/log").write_bytes(b"readings")
    _put(board, TINY, tmp_path)
    done = _put(board, OTHER, tmp_path)
    assert (done.slot, done.before) == ("b", TINY.digest)
    assert _on_disk(tmp_path, "a") == TINY.files and _on_disk(tmp_path, "b") == OTHER.files
    assert (tmp_path / "probe/log").read_bytes() == b"readings"


def test_a_third_install_replaces_the_oldest(board: BoardFiles, tmp_path: Path) -> None:
    for image in (TINY, OTHER, TINY):
        done = _put(board, image, tmp_path)
    assert (done.slot, done.before) == ("a", OTHER.digest)
    assert _on_disk(tmp_path, "a") == TINY.files


def test_back_and_forth(board: BoardFiles, tmp_path: Path) -> None:
    _put(board, TINY, tmp_path)
    _put(board, OTHER, tmp_path)
    done = versions.back(board, str(tmp_path))
    assert (done.slot, done.version, done.before) == ("a", TINY.digest, OTHER.digest)
    assert (done.bytes, done.files) == (TINY.size, 2)
    assert (tmp_path / "fw/active").read_text() == "a"
    assert versions.back(board, str(tmp_path)).version == OTHER.digest


def test_back_without_a_version_before_is_refused(board: BoardFiles, tmp_path: Path) -> None:
    _put(board, TINY, tmp_path)
    with pytest.raises(CurbtickError, match="no version before"):
        versions.back(board, str(tmp_path))
    assert (tmp_path / "fw/active").read_text() == "a"


def test_back_to_a_damaged_version_is_refused(board: BoardFiles, tmp_path: Path) -> None:
    _put(board, TINY, tmp_path)
    _put(board, OTHER, tmp_path)
    (tmp_path / "fw/a/main.mpy").write_bytes(b"worn")
    with pytest.raises(LinkError, match=r"main\.mpy"):
        versions.back(board, str(tmp_path))
    assert (tmp_path / "fw/active").read_text() == "b"


def test_what_did_not_land_is_not_put_in_force(
    board: BoardFiles, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _put(board, TINY, tmp_path)
    write = BoardFiles.write

    def tear(self: BoardFiles, path: str, data: bytes) -> None:
        write(self, path, data[:-1] if path.endswith("x.mpy") else data)

    monkeypatch.setattr(BoardFiles, "write", tear)
    with pytest.raises(LinkError, match=r"x\.mpy"):
        _put(board, OTHER, tmp_path)
    assert (tmp_path / "fw/active").read_text() == "a"
    assert versions.version_of(board, "b", str(tmp_path)) is None


def test_a_full_flash_is_refused_before_anything_is_copied(board: BoardFiles, tmp_path: Path) -> None:
    _put(board, TINY, tmp_path)
    with pytest.raises(CurbtickError, match="bytes of flash free"):
        _put(board, OTHER, tmp_path, free_bytes=5000)
    assert _on_disk(tmp_path, "b") == {}


def test_the_real_firmware_compiles_lands_and_is_chosen(board: BoardFiles, tmp_path: Path) -> None:
    """The chooser, with its paths moved under a scratch folder, starts the version in force on this MicroPython."""
    found = versions.facts(board, str(tmp_path))
    assert found.micropython >= (1, 28) and found.free_bytes > 0
    image = versions.image_for(found)
    _put(board, image, tmp_path)
    board.close()
    chooser = (
        (tmp_path / "main.py")
        .read_text()
        .replace('"/fw/', f'"{tmp_path}/fw/')
        .replace("import main ", "import curbtick_probe.bumper.reading ")
    )
    started = tmp_path / "start.py"
    started.write_text(chooser + "\nprint(curbtick_probe.bumper.reading.Taken, curbtick_probe.__path__)\n")
    run = subprocess.run(
        [*find_micropython(), str(started)], capture_output=True, text=True, check=False, cwd=tmp_path
    )
    assert run.stdout.strip() == f"<class 'Taken'> {tmp_path}/fw/a/curbtick_probe", run.stdout + run.stderr


@pytest.fixture(scope="module")
def image() -> firmware_image.Image:
    """The chip's image; to compile it takes seconds."""
    return firmware_image.build()


@pytest.fixture
def _compiled(image: firmware_image.Image, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(firmware_image, "build", lambda _architecture: image)


def test_the_chip_s_image_has_what_a_probe_needs_and_no_more(image: firmware_image.Image) -> None:
    assert {
        "main.mpy",
        "curbtick_probe/board/rp2/board.mpy",
        "curbtick_probe/app/start.mpy",
    } <= image.files.keys()
    assert not [path for path in image.files if "virtual" in path or "flashdisk" in path]
    assert all(data[0] == ord("M") for data in image.files.values())
    assert image.size <= firmware_image.VERSION_BYTES_MAX


@pytest.mark.usefixtures("_compiled")
def test_another_micropython_is_refused() -> None:
    old = versions.BoardFacts("board with RP2040", (1, 20, 0), 6, 3, "armv6m", PLENTY)
    with pytest.raises(CurbtickError, match="too old"):
        versions.image_for(old)
    strange = versions.BoardFacts("board with RP2040", (1, 30, 0), 7, 0, "armv6m", PLENTY)
    with pytest.raises(CurbtickError, match=r"format 7\.0"):
        versions.image_for(strange)


@pytest.mark.parametrize("machine", ["Raspberry Pi Pico W with RP2040", "Raspberry Pi Pico 2 W with RP2350"])
def test_a_wireless_board_is_refused_in_three_lines(machine: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Names as MicroPython's ports/rp2/boards of v1.28.0 has them."""
    monkeypatch.setattr(firmware_image, "build", lambda architecture: pytest.fail("was compiled"))
    with pytest.raises(CurbtickError, match="wireless") as caught:
        versions.image_for(versions.BoardFacts(machine, (1, 28, 0), 6, 3, "armv6m", PLENTY))
    assert machine in caught.value.what and caught.value.data and caught.value.next_step
    wired_on_the_board = {number for number, _pad, _name, kind in pins.PINS if kind == "board"}
    assert {int(word) for word in re.findall(r"\b2\d\b", caught.value.what)} == wired_on_the_board


@pytest.mark.parametrize("machine", ["W5500-EVB-Pico with RP2040", "W5100S-EVB-Pico with RP2040"])
def test_a_board_with_ethernet_is_refused_in_three_lines(
    machine: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Names as MicroPython's ports/rp2/boards of v1.28.0 has them."""
    monkeypatch.setattr(firmware_image, "build", lambda architecture: pytest.fail("was compiled"))
    with pytest.raises(CurbtickError, match="Ethernet") as caught:
        versions.image_for(versions.BoardFacts(machine, (1, 28, 0), 6, 3, "armv6m", PLENTY))
    assert machine in caught.value.what and caught.value.data and caught.value.next_step
    assert f"GPIO {pins.gpio('beeper')}" in caught.value.what


@pytest.mark.usefixtures("_compiled")
@pytest.mark.parametrize("machine", ["Raspberry Pi Pico with RP2040", "Raspberry Pi Pico2 with RP2350"])
def test_the_same_boards_without_a_radio_are_not_refused(machine: str, image: firmware_image.Image) -> None:
    facts = versions.BoardFacts(
        machine, (1, 28, 0), image.mpy_version, image.mpy_sub_version, "armv6m", PLENTY
    )
    assert versions.image_for(facts).digest == image.digest


def test_a_program_that_does_not_give_the_prompt(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("curbtick.install.board_files.PROMPT_S", 0.5)
    with _pty_program(["cat"], tmp_path) as port, pytest.raises(NoPromptError, match="prompt") as caught:
        BoardFiles(port)
    assert "both buttons" in caught.value.next_step


def test_no_such_port() -> None:
    with pytest.raises(LinkError, match="cannot be opened"):
        BoardFiles("/dev/no-such-port")


def test_a_running_probe_is_asked_for_its_prompt_in_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("curbtick.install.board_files.PROMPT_S", 0.3)
    said: list[str] = []
    with VirtualProbe(YardEar(seed=1), tmp_path / "flash") as probe:
        probe.run_until_idle()
        with pytest.raises(NoPromptError):
            cli_install.at_prompt(probe.pty_path, said.append, wait_s=1.0)
        assert len(said) == 1 and "hold both buttons" in said[0]
        with client.connect(probe.pty_path) as still:
            assert still.unique_id == "c0b0000000000001"


def test_waiting_ends_once_the_prompt_is_there(monkeypatch: pytest.MonkeyPatch) -> None:
    answers: list[Exception | str] = [
        NoPromptError("busy", "", "hold"),
        LinkError("unplugged", "", ""),
        "the board",
    ]

    def attempt(port: str) -> str:
        answer = answers.pop(0)
        if isinstance(answer, Exception):
            raise answer
        return answer

    monkeypatch.setattr(cli_install, "BoardFiles", attempt)
    monkeypatch.setattr(cli_install, "_RETRY_S", 0.0)
    assert cli_install.at_prompt("port", lambda words: None) == "the board"


def test_a_port_that_never_opened_is_no_waiting_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    def attempt(port: str) -> str:
        raise LinkError("no such port", "", "")

    monkeypatch.setattr(cli_install, "BoardFiles", attempt)
    with pytest.raises(LinkError, match="no such port"):
        cli_install.at_prompt("port", lambda words: None)


@pytest.mark.parametrize(("fault", "failed"), [("none", []), ("unplugged", ["microphone", "beeper"])])
def test_the_self_test_since_the_start_is_read_from_the_log(
    tmp_path: Path, fault: str, failed: list[str]
) -> None:
    with VirtualProbe(YardEar(probe=ProbeState(fault), seed=2), tmp_path / "flash") as probe:
        probe.run_until_idle()
        with client.connect(probe.pty_path) as link:
            assert cli_install.self_test(link) == failed
