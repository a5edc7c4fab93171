"""A pull in the background, and how far it is."""

import threading
from collections.abc import Callable
from typing import Any, NamedTuple

from curbtick.errors import CurbtickError, unforeseen
from curbtick.exchange.pull import pull_probe
from curbtick.link.client import connect
from curbtick.store.history import Store


class Progress(NamedTuple):
    """How far a pull is: records done, records in all, and words for the person who waits."""

    pulling: bool = False
    done: int = 0
    of: int = 0
    words: str = ""


class Puller:
    """Pulls a probe in the background, one at a time."""

    def __init__(self, store: Store, connect: Callable[[str | None], Any] = connect) -> None:
        self._store = store
        self._connect = connect
        self._busy = threading.Lock()
        self.progress = Progress()

    def start(self, port: str | None) -> bool:
        """Begin a pull; return False when one is under way already."""
        if not self._busy.acquire(blocking=False):
            return False
        self.progress = Progress(pulling=True, words="Looking for the probe")
        threading.Thread(target=self._run, args=(port,), daemon=True).start()
        return True

    def _run(self, port: str | None) -> None:
        words = "The pull has ended."
        try:
            words = self._pull(port)
        except CurbtickError as error:
            words = f"{error.what} {error.next_step}"
        except Exception as error:
            # Nobody waits for this thread: a page would show "pulling" for ever.
            words = str(unforeseen(error)).replace("\n", " ")
        finally:
            self.progress = self.progress._replace(pulling=False, words=words)
            self._busy.release()

    def _pull(self, port: str | None) -> str:
        with self._connect(port) as probe:
            found = pull_probe(self._store, probe, self._tick)
        words = f"Probe {found.probe}: {found.records} records pulled, {found.new} new."
        return " ".join([words, *found.notes])

    def _tick(self, done: int, of: int) -> None:
        self.progress = Progress(True, done, of, f"Record {done} of {of}")
