"""`curbtick install`: the firmware onto a board, or back to the version before; restart, greeting, self-test."""

import time
from collections.abc import Callable
from dataclasses import asdict
from typing import Annotated, Any

import typer
from curbtick_wire import names, records

from curbtick.commands.output import Json, Output
from curbtick.errors import LinkError
from curbtick.install import image as firmware_image
from curbtick.install import versions
from curbtick.install.board_files import BoardFiles, NoPromptError
from curbtick.install.versions import Installed
from curbtick.link.client import Client, connect
from curbtick.link.port import choose_port

BUTTONS_WAIT_S = 120.0
RESTART_WAIT_S = 30.0
_RETRY_S = 0.7
# A restart's records: its start and its self-test; a few more where the log had something to say.
_NEWEST = 8

Port = Annotated[str | None, typer.Option("--port", help="The board's port.", show_default=False)]


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("install")(install)


def install(
    port: Port = None,
    back: Annotated[bool, typer.Option("--back", help="Put the version before in force again.")] = False,
    digest: Annotated[
        bool, typer.Option("--digest", help="Print the digest that names this release's firmware; no board.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Put this release's firmware on a board that runs MicroPython; readings on it stay as they are."""
    output = Output(as_json)
    if digest:
        _say_digest(output)
        return
    path = choose_port(port)
    with at_prompt(path, output.say) as board:
        done = versions.back(board) if back else _install(board, output)
        board.restart()
    output.say(f"Version {done.version} is in force ({done.files} files, {done.bytes} bytes); restarting.")
    with _greeted(path) as probe:
        result: dict[str, Any] = {**asdict(done), "port": path, "unique_id": probe.unique_id}
        result |= {"firmware": probe.greeting.firmware, "self_test_failed": self_test(probe)}
    _tell(output, result)
    output.done(result)
    if result["self_test_failed"] != []:
        raise typer.Exit(1)


def _say_digest(output: Output) -> None:
    image = firmware_image.build()
    output.say(image.digest)
    output.done({"version": image.digest, "bytes": image.size, "files": len(image.files)})


def at_prompt(path: str, say: Callable[[str], None], wait_s: float = BUTTONS_WAIT_S) -> BoardFiles:
    """Open a board at MicroPython's prompt; while a probe's program runs, say what to do and wait for it.

    Raises NoPromptError after wait_s, LinkError where the port cannot be opened at all.
    """
    deadline_s = time.monotonic() + wait_s
    has_said = False
    while True:
        try:
            return BoardFiles(path)
        except NoPromptError as error:
            if not has_said:
                say(f"{error.what} {error.next_step} Waiting.")
            has_said = True
            if time.monotonic() > deadline_s:
                raise
        except LinkError:
            # While it is unplugged, as it was told to be, there is no port.
            if not has_said or time.monotonic() > deadline_s:
                raise
        time.sleep(_RETRY_S)


def _install(board: BoardFiles, output: Output) -> Installed:
    found = versions.facts(board)
    image = versions.image_for(found)
    output.say(f"{found.machine}, MicroPython {'.'.join(map(str, found.micropython))}")
    with output.progress("copying", image.size) as tick:
        return versions.install(board, image, found.free_bytes, tick)


def _greeted(path: str) -> Client:
    """The probe's program after a restart; its port may come and go meanwhile."""
    deadline_s = time.monotonic() + RESTART_WAIT_S
    while True:
        time.sleep(_RETRY_S)
        try:
            return connect(path)
        except LinkError as error:
            if time.monotonic() > deadline_s:
                raise LinkError(
                    f"The new version does not answer ({error.what})",
                    "Readings on the board are untouched.",
                    "Unplug the board, hold both buttons, plug it in, and run curbtick install --back.",
                ) from error


def self_test(probe: Client) -> list[str] | None:
    """What failed in the self-test since the probe's start (words of names.SELF_TESTS); None when there was none."""
    first = max(1, probe.greeting.last_seq - _NEWEST)
    tests = [
        record
        for record in probe.records(first)
        if record.kind == records.SELF_TEST and record.known and record.boot == probe.greeting.boot
    ]
    return names.words_of(names.SELF_TESTS, tests[-1].values["failed"]) if tests else None


def _tell(output: Output, result: dict[str, Any]) -> None:
    failed = result["self_test_failed"]
    if failed is None:
        words = "no self-test was logged: press both buttons twice to run one"
    elif failed:
        words = f"self-test FAILED: {', '.join(failed)}; see hardware_notes/build.md"
    else:
        words = "self-test passed"
    before = (
        f" The version before, {result['before']}, is kept: --back returns to it." if result["before"] else ""
    )
    output.say(f"Probe {result['unique_id']} answers, firmware {result['firmware']}; {words}.{before}")
