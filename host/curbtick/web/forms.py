"""Forms as a browser sends them, within bounds of size and time."""

from http import HTTPStatus
from urllib.parse import parse_qs

import anyio
from starlette.exceptions import HTTPException
from starlette.requests import ClientDisconnect, Request

from curbtick.numbers import whole

Form = dict[str, list[str]]

BODY_MAX = 65_536
# A form of this page is a few hundred bytes from this computer; a sender this slow has died or means harm.
BODY_WITHIN_S = 10
FIELDS_MAX = 2_000
TOO_LONG = HTTPException(HTTPStatus.REQUEST_ENTITY_TOO_LARGE, "The form is too long.")


async def read(request: Request) -> Form:
    """Return the fields of a request's form. Raises HTTPException: 408 too slow, 413 too long, 400 no form."""
    # Said before it is sent: a sender that only claims a long form must not be waited for.
    claimed = request.headers.get("content-length")
    if claimed is not None and (whole(claimed) is None or int(claimed) > BODY_MAX):
        raise TOO_LONG
    body = bytearray()
    try:
        with anyio.fail_after(BODY_WITHIN_S):
            async for piece in request.stream():
                body += piece
                if len(body) > BODY_MAX:
                    raise TOO_LONG
    except TimeoutError as error:
        raise HTTPException(HTTPStatus.REQUEST_TIMEOUT, "The form did not arrive in time.") from error
    except ClientDisconnect as error:
        raise HTTPException(HTTPStatus.BAD_REQUEST, "The form broke off.") from error
    try:
        text = bytes(body).decode("utf-8", "replace")
        return parse_qs(text, keep_blank_values=True, max_num_fields=FIELDS_MAX)
    except ValueError as error:
        raise HTTPException(HTTPStatus.BAD_REQUEST, "The form has too many fields.") from error


def one(form: Form, name: str) -> str:
    """Return the first value of a field, trimmed; empty where there is none."""
    return form.get(name, [""])[0].strip()
