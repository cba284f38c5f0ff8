"""Answers: plain data, errors as sentences with a stable code."""

from __future__ import annotations

import json
import traceback
from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from stacker.errors import StackerError
from stacker.page.guard import TooLarge

FAULT = "This failed through a fault of the program; the window of stacker serve shows where."
Handler = Callable[[Request], Awaitable[Response]]
# which errors are no fault of what was asked for, but of what is there already
STATUS = {
    "output-exists": 409,
    "file-exists": 409,
    "stale-session": 409,
    "no-such-burst": 404,
    "no-such-job": 404,
    "not-yet": 404,
    "no-doubt": 404,
    "no-such-mask": 404,
    "no-such-address": 404,
    "busy": 429,
}


class PageError(StackerError):
    """What the page cannot do; ``more`` goes into the answer beside the sentence."""

    def __init__(
        self,
        where: str,
        why: str,
        *,
        remedy: str = "",
        code: str,
        more: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(where, why, remedy=remedy, code=code)
        self.more = dict(more or {})


def told(error: StackerError) -> Response:
    """Return the answer that says what is wrong."""
    more = error.more if isinstance(error, PageError) else {}
    body = {"error": str(error), "code": error.code, **more}
    return JSONResponse(body, status_code=STATUS.get(error.code, 400))


def telling(handler: Handler) -> Handler:
    """Return the handler with its errors told as answers."""

    async def answer(request: Request) -> Response:
        try:
            return await handler(request)
        except StackerError as error:
            return told(error)
        except (TooLarge, HTTPException):
            # answered further out
            raise
        except Exception:
            # a fault of ours: shown where the program was started, and said in the page's own way
            traceback.print_exc()
            return JSONResponse({"error": FAULT, "code": "fault"}, status_code=500)

    return answer


async def body_of(request: Request) -> dict[str, Any]:
    """Return the table of names and values that was sent.

    Raises
    ------
    PageError
        It is none.
    """
    try:
        data = json.loads(await request.body() or b"{}")
    except (ValueError, RecursionError) as error:
        raise _no_table() from error
    if not isinstance(data, dict):
        raise _no_table()
    return data


def _no_table() -> PageError:
    return PageError(
        "the request", "it is no table in JSON", remedy="load the page again", code="bad-request"
    )
