"""A board at MicroPython's prompt: its files, by way of PyPI `mpremote`."""

import contextlib
import io
from collections.abc import Iterator
from types import TracebackType
from typing import Any, Self

from curbtick.errors import LinkError, MissingProgramError
from curbtick.extras import how_to_install

PROMPT_S = 4.0
READ_S = 1.0
_NOTHING = "Nothing was copied; the probe runs as before."


class NoPromptError(LinkError):
    """Something is on the port, but not at MicroPython's prompt: most likely a probe's program at work."""


class BoardFiles:
    """An open board at the raw prompt. Paths are the board's own, absolute."""

    def __init__(self, port: str) -> None:
        """Open a port and enter the raw prompt. Raises LinkError (port), NoPromptError, MissingProgramError."""
        serial_transport, self._error = _mpremote()
        try:
            self._board: Any = serial_transport(port, wait=0, timeout=READ_S)
        except (self._error, OSError) as error:
            raise LinkError(
                f"The port {port} cannot be opened ({error}).",
                _NOTHING,
                "Close other programs that use the port, and see that the board is plugged in.",
            ) from error
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                self._board.enter_raw_repl(soft_reset=False, timeout_overall=PROMPT_S)
        except (self._error, OSError) as error:
            self.close()
            raise NoPromptError(
                f"The board on {port} is not at MicroPython's prompt.",
                _NOTHING,
                "Unplug it, hold both buttons, plug it in while holding them, and let go after two seconds.",
            ) from error

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Give the port back. Never raises."""
        with contextlib.suppress(Exception):
            self._board.close()

    def evaluate(self, expression: str, *imports: str) -> Any:
        """The value of an expression on the board."""
        with self._named():
            for module in imports:
                self._board.exec(f"import {module}")
            return self._board.eval(expression)

    def names(self, folder: str) -> list[str]:
        """The names in a folder; none where it does not exist."""
        with self._named():
            if not self._board.fs_isdir(folder):
                return []
            return [entry.name for entry in self._board.fs_listdir(folder)]

    def read(self, path: str) -> bytes | None:
        """A file's bytes, or None where there is none."""
        with self._named():
            return bytes(self._board.fs_readfile(path)) if self._board.fs_exists(path) else None

    def write(self, path: str, data: bytes) -> None:
        """Write a file; its folder must exist."""
        with self._named():
            self._board.fs_writefile(path, data, chunk_size=512)

    def write_whole(self, path: str, data: bytes) -> None:
        """Replace a file in one step, so that a cut leaves the old or the new one."""
        self.write(path + ".new", data)
        with self._named():
            self._board.exec(f"import os\nos.rename({path + '.new'!r}, {path!r})")

    def digest(self, path: str) -> str:
        """SHA-256 of a file, computed on the board; empty where there is no such file."""
        with self._named():
            if not self._board.fs_exists(path):
                return ""
            return str(self._board.fs_hashfile(path, "sha256").hex())

    def make_folder(self, path: str) -> None:
        """Make a folder and those above it."""
        with self._named():
            for end in (place for place, letter in enumerate(path + "/") if letter == "/" and place):
                if not self._board.fs_exists(path[:end]):
                    self._board.fs_mkdir(path[:end])

    def remove(self, path: str) -> None:
        """Remove a file or a folder with all in it; nothing happens where there is none."""
        with self._named():
            self._remove(path)

    def _remove(self, path: str) -> None:
        if self._board.fs_isdir(path):
            for entry in self._board.fs_listdir(path):
                self._remove(f"{path}/{entry.name}")
            self._board.fs_rmdir(path)
        elif self._board.fs_exists(path):
            self._board.fs_rmfile(path)

    def restart(self) -> None:
        """Start the board anew, as a power cycle does; the port goes away for a moment."""
        with contextlib.suppress(self._error, OSError):
            self._board.exec_raw_no_follow("import machine\nmachine.reset()")

    @contextlib.contextmanager
    def _named(self) -> Iterator[None]:
        try:
            yield
        except (self._error, OSError) as error:
            raise LinkError(
                f"The board broke off while files were copied ({error}).",
                "The version that was in force before is still the one that starts.",
                "Plug the board in again and repeat the command; it starts over.",
            ) from error


def _mpremote() -> tuple[Any, type[Exception]]:
    try:
        from mpremote.transport import TransportError  # type: ignore[import-untyped]
        from mpremote.transport_serial import SerialTransport  # type: ignore[import-untyped]
    except ImportError as error:
        raise MissingProgramError(
            "mpremote, which copies files to a board, is not installed.",
            _NOTHING,
            f"Install it with {how_to_install('install')}.",
        ) from error
    return SerialTransport, TransportError
