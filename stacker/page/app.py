"""The application: what answers at which address."""

from __future__ import annotations

from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from stacker.page import burst_routes, job_routes
from stacker.page.answers import PageError, telling
from stacker.page.desk import Desk
from stacker.page.guard import OPEN_THE_ADDRESS, Guard, Pass

STATIC = Path(__file__).parent / "static"
METHODS = ["GET", "POST", "PUT", "DELETE"]


def make_app(desk: Desk, admission: Pass) -> Starlette:
    """Return the application that answers for a desk to whoever has the pass."""
    files = StaticFiles(directory=STATIC)

    async def entrance(request: Request) -> Response:
        token = request.query_params.get("token")
        if token is None:
            return await files.get_response("index.html", request.scope)
        if not admission.is_token(token):
            body = {"error": OPEN_THE_ADDRESS, "code": "wrong-token"}
            return JSONResponse(body, status_code=403)
        answer = RedirectResponse("/", status_code=303)
        answer.set_cookie(
            admission.cookie, admission.secret, httponly=True, samesite="strict", path="/"
        )
        return answer

    return Starlette(
        routes=[
            Route("/", entrance, methods=["GET"]),
            *burst_routes.routes(desk),
            *job_routes.routes(desk),
            Route("/api/{rest:path}", telling(_unknown), methods=METHODS),
            Mount("/static", files),
            Mount("/", files),
        ],
        middleware=[Middleware(Guard, admission=admission)],
    )


async def _unknown(request: Request) -> Response:
    raise PageError(
        f"{request.method} {request.url.path[:100]}",
        "the page has nothing there",
        remedy="load it again",
        code="no-such-address",
    )
