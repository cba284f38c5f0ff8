"""What the page asks about work that goes on in the background."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from stacker.page.answers import Handler, body_of, telling
from stacker.page.chosen import chosen_in
from stacker.page.desk import Desk
from stacker.page.rendering import render_job


def routes(desk: Desk) -> list[Route]:
    """Return the routes that answer for jobs of a desk."""

    async def jobs(_: Request) -> Response:
        return JSONResponse({"jobs": desk.jobs.told()})

    async def job(request: Request) -> Response:
        found = desk.jobs.find(request.path_params["name"])
        if request.method == "DELETE":
            found.cancel()
        return JSONResponse(found.told())

    async def demo(_: Request) -> Response:
        return JSONResponse({"job": desk.make_demo().name})

    async def render(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        data = await body_of(request)
        chosen = chosen_in(data, desk.served)
        what, work = await run_in_threadpool(
            render_job,
            desk.served,
            opened,
            chosen,
            data.get("output"),
            # only a clear yes counts
            overwrite=data.get("overwrite") is True,
        )
        return JSONResponse({"job": desk.jobs.add(what, work).name})

    table: list[tuple[str, str, Handler]] = [
        ("POST", "/api/demo", demo),
        ("POST", "/api/burst/{key}/render", render),
        ("GET", "/api/jobs", jobs),
        ("GET", "/api/jobs/{name}", job),
        ("DELETE", "/api/jobs/{name}", job),
    ]
    return [Route(path, telling(handler), methods=[method]) for method, path, handler in table]
