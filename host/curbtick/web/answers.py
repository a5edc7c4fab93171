"""What the page answers: pages of the report, the bench page with its actions, and a page for every failure."""

import secrets
from collections.abc import Callable
from http import HTTPStatus

from sqlalchemy import Connection
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from curbtick.dates import now_ms
from curbtick.errors import CurbtickError, InputError, LinkError, unforeseen
from curbtick.link.port import find_ports
from curbtick.report import Site, message_page
from curbtick.report.views import site_map
from curbtick.store.history import Store
from curbtick.web import actions, forms
from curbtick.web.forms import Form
from curbtick.web.pulling import Puller

WRONG_TOKEN = "This form is from an earlier start of the program. Load the page again."
NO_PAGE = "There is no such page."
NO_ACTION = "There is no such action."


class Answers:
    """Answers requests about one history. token: what a form must carry to change anything."""

    def __init__(self, store: Store, puller: Puller, token: str) -> None:
        self._store = store
        self._puller = puller
        self._token = token
        self._newest: Site | None = None
        self.app = Starlette(
            routes=[
                Route("/", self._first),
                Route("/progress.json", self._progress),
                Route("/{name}", self._page),
                Route("/{name}", self._action, methods=["POST"]),
            ],
            exception_handlers={HTTPException: _refused},
        )

    def _first(self, _request: Request) -> Response:
        return _answer(self._bench)

    def _progress(self, _request: Request) -> Response:
        return _answer(self._far)

    def _page(self, request: Request) -> Response:
        name = request.path_params["name"]
        return _answer(self._bench if name == site_map.BENCH.file else lambda: self._report(name))

    def _far(self) -> Response:
        ports = [port.path for port in find_ports()]
        return JSONResponse({**self._puller.progress._asdict(), "ports": ports})

    def _site(self, connection: Connection) -> Site:
        """The pages as of now."""
        self._newest = site = Site.of(connection, None, now_ms(), self._newest)
        site.frame.is_live = True
        return site

    def _report(self, name: str) -> Response:
        with self._store.read() as connection:
            text = self._site(connection).named(name)
        if text is None:
            raise HTTPException(HTTPStatus.NOT_FOUND, NO_PAGE)
        return HTMLResponse(text)

    def _bench(self, message: str = "", status: int = HTTPStatus.OK) -> Response:
        with self._store.read() as connection:
            site = self._site(connection)
            values = actions.bench_values(connection, site)
            text = site.frame.render(site_map.BENCH.file, (), token=self._token, message=message, **values)
        return HTMLResponse(text, status)

    async def _action(self, request: Request) -> Response:
        form = await forms.read(request)
        # As bytes: text outside ASCII cannot be compared in constant time.
        if not secrets.compare_digest(forms.one(form, "token").encode(), self._token.encode()):
            raise HTTPException(HTTPStatus.FORBIDDEN, WRONG_TOKEN)
        return await run_in_threadpool(_answer, lambda: self._acted(request.path_params["name"], form))

    def _acted(self, name: str, form: Form) -> Response:
        try:
            return self._bench(self._do(name, form))
        except CurbtickError as error:
            return self._bench(str(error).replace("\n", " "), _status(error))

    def _do(self, name: str, form: Form) -> str:
        if name == "pull":
            started = self._puller.start(forms.one(form, "port") or None)
            return "Pulling." if started else "A pull is under way already."
        if name not in actions.ACTIONS:
            raise HTTPException(HTTPStatus.NOT_FOUND, NO_ACTION)
        return actions.do(self._store, name, form)


def _status(error: CurbtickError) -> int:
    """Whose fault it is: a form's (400), the probe's (502), or this computer's (500)."""
    if isinstance(error, InputError):
        return HTTPStatus.BAD_REQUEST
    return HTTPStatus.BAD_GATEWAY if isinstance(error, LinkError) else HTTPStatus.INTERNAL_SERVER_ERROR


def _answer(make: Callable[[], Response]) -> Response:
    """Make an answer; any failure ends in a page that says it."""
    try:
        return make()
    except HTTPException:
        raise
    except CurbtickError as error:
        return _failure(error, _status(error))
    except Exception as error:
        # The outermost frame of a request: whatever fails below must still end in an answer.
        return _failure(unforeseen(error), HTTPStatus.INTERNAL_SERVER_ERROR)


def _failure(error: CurbtickError, status: int) -> Response:
    return HTMLResponse(message_page(error.what, (error.data, error.next_step)), status)


async def _refused(_request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return HTMLResponse(
        message_page(error.detail, ("Nothing was changed.",)), error.status_code, error.headers
    )
