"""The pages on this computer alone: the report, live, with pulling, assigning, swaps and work done.

Listens on 127.0.0.1 only. Whatever changes data must be a POST that comes from this page itself and carries a token
made anew at every start. A GET changes nothing.
"""

import contextlib
import secrets
import socket
from collections.abc import Callable
from typing import Any

import uvicorn

from curbtick.errors import LinkError
from curbtick.link.client import connect
from curbtick.store.history import Store
from curbtick.web.answers import Answers
from curbtick.web.guard import Guard
from curbtick.web.pulling import Puller

LOOPBACK = "127.0.0.1"
# A browser opens six connections at a time; more than this many are somebody else.
CONNECTIONS_MAX = 64


class LocalServer:
    """The server; `url` is where it listens once made, `run` serves until interrupted."""

    def __init__(self, store: Store, number: int, connect: Callable[[str | None], Any] = connect) -> None:
        self.store = store
        self.token = secrets.token_urlsafe(24)
        self.puller = Puller(store, connect)
        self._listener = socket.create_server((LOOPBACK, number))
        self.number = self._listener.getsockname()[1]
        self.url = f"http://{LOOPBACK}:{self.number}/"
        hosts = (f"{LOOPBACK}:{self.number}", f"localhost:{self.number}")
        answers = Answers(store, self.puller, self.token)
        self._server = uvicorn.Server(
            uvicorn.Config(
                Guard(answers.app, hosts),
                http="h11",
                ws="none",
                lifespan="off",
                log_config=None,
                log_level="critical",
                access_log=False,
                server_header=False,
                limit_concurrency=CONNECTIONS_MAX,
                timeout_graceful_shutdown=2,
            )
        )

    def run(self) -> None:
        """Serve until Ctrl-C or `stop`."""
        with self._listener, contextlib.suppress(KeyboardInterrupt):
            self._server.run(sockets=[self._listener])

    def stop(self) -> None:
        """Have `run` return."""
        self._server.should_exit = True


def serve(store: Store, number: int = 0) -> LocalServer:
    """Make the server on a port number of the loopback address; 0 takes a free one. Raises LinkError when
    it is taken.
    """
    try:
        return LocalServer(store, number)
    except OSError as error:
        raise LinkError(
            f"Port number {number} of this computer cannot be used: {error.strerror}.",
            "Nothing was changed.",
            "Name another with --number, or 0 for a free one.",
        ) from error
