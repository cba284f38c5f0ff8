"""The routes of the page, and the desk at which one person works."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Mount, Route
from starlette.staticfiles import StaticFiles

from stacker.page import previewing
from stacker.page.answers import PageError, body_of, telling
from stacker.page.desk import Desk
from stacker.page.guard import OPEN_THE_ADDRESS, Guard, Pass
from stacker.page.hello import hello_of

STATIC = Path(__file__).parent / "static"


def make_app(desk: Desk, admission: Pass) -> Starlette:
    """Return the application that answers for a desk."""

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

    files = StaticFiles(directory=STATIC)
    return Starlette(
        routes=[
            Route("/", entrance),
            *_api(desk),
            Mount("/static", files),
            Mount("/", files),
        ],
        middleware=[Middleware(Guard, admission=admission)],
    )


def _api(desk: Desk) -> list[Route]:
    """Return what the page can ask for."""

    async def hello(_: Request) -> Response:
        return JSONResponse(await run_in_threadpool(hello_of, desk.served))

    async def burst(request: Request) -> Response:
        data = await body_of(request)
        return JSONResponse(await run_in_threadpool(desk.open, data.get("id")))

    async def progress(request: Request) -> Response:
        return JSONResponse(desk.find(request.path_params["key"]).progress())

    async def preview(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        data = await body_of(request)
        return await run_in_threadpool(previewing.answer, opened, data)

    async def unknown(request: Request) -> Response:
        raise PageError(
            request.url.path[:100],
            "the page has nothing there",
            remedy="load it again",
            code="not-yet",
        )

    table: list[tuple[str, str, Any]] = [
        ("GET", "/api/hello", hello),
        ("POST", "/api/burst", burst),
        ("GET", "/api/burst/{key}/progress", progress),
        ("POST", "/api/burst/{key}/preview", preview),
    ]
    routes = [Route(path, telling(handler), methods=[method]) for method, path, handler in table]
    return [*routes, Route("/api/{rest:path}", telling(unknown), methods=["GET", "POST", "PUT"])]
