"""A virtual probe: the real firmware as a MicroPython process, its bus, its flash file and its USB serial (a pty)."""

import os
import select
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable, Mapping
from pathlib import Path
from types import TracebackType
from typing import Self

from curbtick_wire.virtual import FLASH_BLOCKS

from curbtick.device import firmware_folder, protocol_folder
from curbtick.errors import CurbtickError, MissingProgramError
from curbtick.virtual.probe import flashfile
from curbtick.virtual.probe.bus import READ, REQUEST, SHORT_MS, BoardBus, Ear, Panel, SilentEar
from curbtick.virtual.probe.micropython import find_micropython

# Twice what a fresh chip has (241,824 bytes), because a PC's objects are twice the size.
HEAP_KB = 472

DEFAULT_ID = "c0b0000000000001"


class ProbeStoppedError(CurbtickError):
    """The virtual probe's program ended by itself."""


class VirtualProbe:
    """Run a MicroPython program as a probe, with real firmware as the default.

    ear: what its microphone hears; flash_path: the file that is its flash (made when missing; None: no flash);
    script: the program (default: the firmware's main.py); unique_id: 16 hexadecimal digits; paced: simulated time
    keeps to real time, for a person at the buttons; held, hold_ms: buttons held at power-up; on_ask: answers a
    test script's questions.
    """

    def __init__(
        self,
        ear: Ear | None = None,
        flash_path: Path | str | None = None,
        *,
        script: Path | str | None = None,
        options: Mapping[str, str] | None = None,
        unique_id: str = DEFAULT_ID,
        paced: bool = False,
        held: int = 0,
        hold_ms: int = 1500,
        heap_kb: int = HEAP_KB,
        on_ask: Callable[[bytes], bytes] | None = None,
    ) -> None:
        self._options = {"id": unique_id, **(options or {})}
        if flash_path is not None:
            flashfile.check(Path(flash_path), int(self._options.get("blocks", FLASH_BLOCKS)))
            self._options["flash"] = str(flash_path)
        self._master, self._slave, self.pty_path = _open_pty()
        self._options.setdefault("serial", str(self._master))
        self._command = _command(script or firmware_folder() / "main.py", heap_kb)
        self.bus = BoardBus(ear or SilentEar(), self._send, paced=paced)
        if on_ask is not None:
            self.bus.on_ask = on_ask
        self._stderr = tempfile.TemporaryFile()  # noqa: SIM115 - closed by close()
        self._process: subprocess.Popen[bytes] | None = None
        self._exit_code: int | None = None
        self._thread: threading.Thread | None = None
        self._wake_read, self._wake_write = os.pipe()
        self._failure: Exception | None = None
        self.power_on(held, hold_ms)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    @property
    def ear(self) -> Ear:
        """What the microphone hears; replace it between readings."""
        return self.bus.ear

    @ear.setter
    def ear(self, ear: Ear) -> None:
        """Put another ear in its place."""
        self.bus.ear = ear

    @property
    def panel(self) -> Panel:
        """Everything the bar and the beeper showed so far."""
        return self.bus.panel

    @property
    def bar(self) -> int:
        """The LEDs lit now, bit 0 = left."""
        return self.bus.panel.mask

    @property
    def now_us(self) -> int:
        """Simulated microseconds since the first power-on."""
        return self.bus.now_us

    @property
    def running(self) -> bool:
        """Whether the program runs."""
        return self._thread is not None and self._thread.is_alive()

    @property
    def exit_code(self) -> int | None:
        """The program's exit code once it ended."""
        return self._exit_code if self._process is None else self._process.poll()

    def press(self, buttons: int = READ, hold_ms: int = SHORT_MS, after_ms: int = 0, times: int = 1) -> None:
        """Press buttons for hold_ms of simulated time (bus.READ, STEP, BOTH), after_ms later than now.

        times: how often in quick succession.
        """
        self.bus.press(buttons, hold_ms, after_ms, times)
        os.write(self._wake_write, b"!")

    def run_until_idle(self, timeout_s: float = 30.0) -> None:
        """Block until the program has nothing to do but wait for a press or for serial data.

        Raises ProbeStoppedError when it ended instead, or is still busy after timeout_s of real time.
        """
        self.bus.let_run(None)
        self._wait_idle(timeout_s)

    def run_for(self, duration_ms: int, timeout_s: float = 60.0) -> None:
        """Block until a program that listens on and on has done so for duration_ms more, and hold it there.

        The next run_for() or run_until_idle() lets it go on. Raises as run_until_idle().
        """
        self.bus.let_run(duration_ms)
        self._wait_idle(timeout_s)

    def _wait_idle(self, timeout_s: float) -> None:
        if not self.bus.wait_idle(timeout_s, lambda: self.running):
            raise self._stopped()

    def wait_exit(self, timeout_s: float = 600.0) -> int:
        """Block until the program ends by itself; return its exit code. Raises ProbeStoppedError after timeout_s."""
        assert self._thread is not None and self._process is not None
        self._thread.join(timeout_s)
        if self._thread.is_alive():
            raise self._stopped()
        if self._failure is not None:
            raise self._failure
        return self._process.wait()

    def stderr_text(self) -> str:
        """Return what the program wrote to standard error (tracebacks)."""
        self._stderr.seek(0)
        return self._stderr.read().decode("utf-8", "replace")

    def power_on(self, held: int = 0, hold_ms: int = 1500) -> None:
        """Start the program, with buttons held for hold_ms if wanted; ends it first when it runs (a power cycle)."""
        self._end_process()
        self.bus.begin(held, hold_ms)
        self._spawn()
        self._thread = threading.Thread(target=self._serve, name="curbtick-bus", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """End the program and close the pty."""
        if self._master < 0:
            return
        self._end_process()
        for descriptor in (self._master, self._slave, self._wake_read, self._wake_write):
            os.close(descriptor)
        self._master = -1
        self._stderr.close()

    def _spawn(self, hung: int = 0) -> None:
        options = {**self._options, "hung": str(hung)}
        words = [*self._command, *(f"{name}={value}" for name, value in options.items())]
        self._process = subprocess.Popen(
            words,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=self._stderr,
            pass_fds=[self._master],
            bufsize=0,
            env={**os.environ, "MICROPYPATH": f"{firmware_folder()}:{protocol_folder()}:.frozen"},
        )

    def _end_process(self) -> None:
        if self._process is None:
            return
        if self._process.poll() is None:
            self._process.kill()
        self._exit_code = self._process.wait()
        if self._thread is not None:
            self._thread.join()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        self._process = None

    def _send(self, data: bytes) -> None:
        assert self._process is not None and self._process.stdin is not None
        view = memoryview(data)
        try:
            while view:
                view = view[os.write(self._process.stdin.fileno(), view) :]
        except OSError:
            """The program is gone; the bus thread sees its output end."""

    def _read(self, count: int) -> bytes:
        assert self._process is not None and self._process.stdout is not None
        data = b""
        while len(data) < count:
            more = os.read(self._process.stdout.fileno(), count - len(data))
            if not more:
                raise EOFError
            data += more
        return data

    def _serve(self) -> None:
        try:
            self._serve_boots()
        except Exception as error:  # noqa: BLE001 - handed to the waiting thread
            self._failure = error
            if self._process is not None:
                self._process.kill()
        finally:
            self.bus.wake()

    def _serve_boots(self) -> None:
        while True:
            try:
                while True:
                    self._serve_one()
            except EOFError:
                if not self.bus.reset_asked:
                    return
            self._restart()

    def _serve_one(self) -> None:
        assert self._process is not None and self._process.stdout is not None
        output = self._process.stdout.fileno()
        ready, _, _ = select.select([output, self._wake_read], [], [], self.bus.due_s())
        if self._wake_read in ready:
            os.read(self._wake_read, 64)
        if output in ready:
            operation, argument, now_us = REQUEST.unpack(self._read(REQUEST.size))
            self.bus.handle(operation, argument, now_us, self._read)
        else:
            self.bus.tick()

    def _restart(self) -> None:
        assert self._process is not None
        self._process.wait()
        for pipe in (self._process.stdin, self._process.stdout):
            if pipe is not None:
                pipe.close()
        self.bus.begin()
        self._spawn(self.bus.hung)

    def _stopped(self) -> CurbtickError:
        if self._failure is not None:
            what = f"The virtual probe's bus failed: {self._failure!r}."
        elif self.running:
            what = "The virtual probe is busy and does not come to rest."
        else:
            what = f"The virtual probe's program stopped.\n{self.stderr_text()}".rstrip()
        return ProbeStoppedError(
            what,
            "Readings already shown are in its flash file.",
            "Start it again with the same flash file; if it stops again, report this text.",
        )


def run_script(
    script: Path | str,
    ear: Ear | None = None,
    on_ask: Callable[[bytes], bytes] | None = None,
    *,
    options: Mapping[str, str] | None = None,
    flash_path: Path | str | None = None,
    heap_kb: int = 4000,
    timeout_s: float = 600.0,
) -> VirtualProbe:
    """Run a MicroPython script on the virtual board to its end and return the (closed) probe with what it showed.

    The script makes its own `Board()` from curbtick_probe.board.virtual.board; `board.bus.ask(data)` hands bytes to
    on_ask and returns the answer. on_ask may replace the ear: `on_ask(payload)` runs between two requests.
    Raises ProbeStoppedError with the traceback when the script fails.
    """
    with VirtualProbe(
        ear, flash_path, script=script, options=options, heap_kb=heap_kb, on_ask=on_ask
    ) as probe:
        if probe.wait_exit(timeout_s) != 0:
            raise probe._stopped()
    return probe


def _command(script: Path | str, heap_kb: int) -> list[str]:
    runner = [
        "-X",
        f"heapsize={heap_kb}k",
        "-m",
        "curbtick_probe.virtual.run",
        str(Path(script).resolve()),
    ]
    return [*find_micropython(), *runner]


def _open_pty() -> tuple[int, int, str]:
    if sys.platform == "win32":
        raise MissingProgramError(
            "A virtual probe needs a pty, which Windows does not have.",
            "No reading was made or changed.",
            "Use a Linux or macOS computer for demo, virtual and replay; everything else works here.",
        )
    import tty

    master, slave = os.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    return master, slave, os.ttyname(slave)
