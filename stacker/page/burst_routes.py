"""What the page asks about bursts."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from stacker.page import previewing
from stacker.page.answers import Handler, body_of, telling
from stacker.page.chosen import chosen_in
from stacker.page.command import command_for
from stacker.page.desk import Desk
from stacker.page.events import events_of
from stacker.page.hello import hello_of
from stacker.page.leaving import while_wanted
from stacker.page.masks import found_mask, keep_mask, mask_at_preview
from stacker.page.session import read_session, save_session
from stacker.page.upload import form_of, keep_files


def routes(desk: Desk) -> list[Route]:
    """Return the routes that answer for bursts of a desk."""

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
        chosen = chosen_in(data, desk.served)
        found = await while_wanted(
            request, lambda progress: previewing.answer(opened, chosen, data, progress)
        )
        return Response(found.body, media_type=found.media_type, headers=dict(found.headers))

    async def loupe(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        data = await body_of(request)
        chosen = chosen_in(data, desk.served)
        found = await while_wanted(
            request, lambda progress: previewing.closely(opened, chosen, data, progress)
        )
        return Response(found.body, media_type=found.media_type, headers=dict(found.headers))

    async def events(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        return JSONResponse(await run_in_threadpool(events_of, opened))

    async def command(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        data = await body_of(request)
        chosen = chosen_in(data, desk.served)
        target = desk.served.target(data.get("output"))
        words = command_for(opened.path, target, chosen)
        return JSONResponse({"command": words})

    async def session(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        if request.method == "GET":
            return JSONResponse(await run_in_threadpool(read_session, desk.served, opened))
        data = await body_of(request)
        saved = await run_in_threadpool(save_session, desk.served, opened, data)
        return JSONResponse(saved)

    async def mask(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        body, name = await request.body(), request.path_params["name"]
        if request.method == "GET":
            found = await run_in_threadpool(mask_at_preview, desk.served, opened, name)
            return Response(found, media_type="image/png")
        kept = await run_in_threadpool(keep_mask, desk.served, opened, name, body)
        return JSONResponse({"mask": kept})

    async def fill(request: Request) -> Response:
        opened = desk.find(request.path_params["key"])
        data = await body_of(request)
        body = await run_in_threadpool(found_mask, opened, data.get("of"))
        return Response(body, media_type="image/png")

    async def upload(request: Request) -> Response:
        form = await form_of(request)
        try:
            place = await run_in_threadpool(keep_files, desk.served, form)
        finally:
            await form.close()
        return JSONResponse(await run_in_threadpool(desk.open, place))

    table: list[tuple[str, str, Handler]] = [
        ("GET", "/api/hello", hello),
        ("POST", "/api/burst", burst),
        ("GET", "/api/burst/{key}/progress", progress),
        ("POST", "/api/burst/{key}/preview", preview),
        ("POST", "/api/burst/{key}/loupe", loupe),
        ("GET", "/api/burst/{key}/events", events),
        ("POST", "/api/burst/{key}/command", command),
        ("GET", "/api/burst/{key}/session", session),
        ("PUT", "/api/burst/{key}/session", session),
        ("PUT", "/api/burst/{key}/mask/{name}", mask),
        ("GET", "/api/burst/{key}/mask/{name:path}", mask),
        ("POST", "/api/burst/{key}/region-fill", fill),
        ("POST", "/api/upload", upload),
    ]
    return [Route(path, telling(handler), methods=[method]) for method, path, handler in table]
