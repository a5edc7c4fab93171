"""Which requests the page answers at all, and what every answer carries.

The page is for this computer alone. A name that an attacker points at 127.0.0.1 must not become a way in, so the
Host of a request must be the page's own; whatever changes data must come from the page itself, so its Origin must be
the page's own too. A request that names either of them twice is refused.
"""

from collections.abc import Container
from http import HTTPStatus

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

POLICY = (
    "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
ANSWER_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cache-Control": "no-store",
}
# Methods that change nothing.
READING = ("GET", "HEAD")


class Guard:
    """Refuses what is not for this page (403), and puts the same headers on every answer."""

    def __init__(self, app: ASGIApp, hosts: Container[str]) -> None:
        self._app = app
        self._hosts = hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or pass it on."""

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(ANSWER_HEADERS)
            await send(message)

        refusal = self._refusal(scope["method"], Headers(scope=scope))
        answer = self._app if refusal is None else PlainTextResponse(refusal, HTTPStatus.FORBIDDEN)
        await answer(scope, receive, with_headers)

    def _refusal(self, method: str, headers: Headers) -> str | None:
        if not self._is_ours(headers.getlist("host"), ""):
            return "This page answers to its own address alone."
        if method not in READING and not self._is_ours(headers.getlist("origin"), "http://"):
            return "Changes are taken from this page itself alone."
        return None

    def _is_ours(self, named: list[str], scheme: str) -> bool:
        return (
            len(named) == 1 and named[0].startswith(scheme) and named[0].removeprefix(scheme) in self._hosts
        )
