"""Who may ask: one browser on this machine that was given the token, and nobody through it.

A page elsewhere can make a browser send requests to this machine, under any name that it lets
point here. So the address asked for must be ours (DNS rebinding), whatever changes something must
come from a page of ours (cross-site requests), and all wants a cookie that no other site can send.
"""

from __future__ import annotations

import ipaddress
import json
import secrets
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import cookie_parser
from starlette.types import ASGIApp, Message, Receive, Scope, Send

METHODS = ("GET", "HEAD", "POST", "PUT", "DELETE")
CHANGING = ("POST", "PUT", "DELETE")
MEGABYTE = 10**6
# settings, masks and uploads: the longest bodies by the beginning and the end of the path
BODY_BYTES = 2 * MEGABYTE
MASK_BYTES = 32 * MEGABYTE
UPLOAD_BYTES = 8000 * MEGABYTE
HEADERS = {
    "content-security-policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; "
        "font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "x-frame-options": "DENY",
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cache-control": "no-store",
}
OPEN_THE_ADDRESS = "Open the address that stacker serve printed, with its token; it lets one in."


@dataclass(frozen=True)
class Pass:
    """What a browser has to show.

    Parameters
    ----------
    port : on which the page is served.
    host : the address it is served at.
    token : in the address that is opened first.
    secret : the value of the cookie that is given for it.
    """

    port: int
    host: str = "127.0.0.1"
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24), repr=False)
    secret: str = field(default_factory=lambda: secrets.token_urlsafe(24), repr=False)

    @property
    def cookie(self) -> str:
        """The cookie's name: cookies are shared by all ports of a machine."""
        return f"stacker-{self.port}"

    def knows_host(self, named: str) -> bool:
        """Whether the address that a browser asked for is one of ours."""
        name, _, port = named.rpartition(":")
        if not name:
            # the usual port of HTTP is not told
            name, port = named, "80"
        if port != str(self.port):
            return False
        name = name.strip("[]").lower()
        own = is_loopback(self.host)
        if name == "localhost":
            return own
        try:
            address = ipaddress.ip_address(name)
        except ValueError:
            # any other name may be made to point here by whoever owns it
            return name == self.host.lower()
        return address.is_loopback if own else True

    def is_token(self, given: str) -> bool:
        """Whether this is the token; takes the same time whatever it is."""
        return secrets.compare_digest(given.encode(), self.token.encode())

    def is_secret(self, given: str) -> bool:
        """Whether this is the cookie's value; takes the same time whatever it is."""
        return secrets.compare_digest(given.encode(), self.secret.encode())


def is_loopback(host: str) -> bool:
    """Whether an address can be reached from this machine alone."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


class TooLarge(Exception):  # noqa: N818 - told as an answer, not as a fault
    """More was sent than is taken."""


class Guard:
    """Lets through what may pass, and puts the headers on every answer."""

    def __init__(self, app: ASGIApp, admission: Pass) -> None:
        self.app = app
        self.admission = admission

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request, or hand it on."""
        if scope["type"] != "http":
            await self._not_http(scope, receive, send)
            return

        begun = False

        async def send_guarded(message: Message) -> None:
            nonlocal begun
            if message["type"] == "http.response.start":
                begun = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
            await send(message)

        refusal = self._refusal(scope)
        if refusal is not None:
            await _answer(send_guarded, *refusal)
            return
        limit = body_limit(scope["path"])
        try:
            await self.app(scope, _limited(receive, limit), send_guarded)
        except TooLarge:
            if not begun:
                await _answer(send_guarded, 413, "too-large", _too_large(limit))

    def _refusal(self, scope: Scope) -> tuple[int, str, str] | None:
        """Return status, code and sentence of why a request may not pass; None where it may."""
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if not self.admission.knows_host(host):
            return 421, "foreign-host", "This page is served to this machine under its own name."
        method = scope["method"]
        if method not in METHODS:
            return 405, "method", f"{method[:20]} is no request that this page knows."
        origin = headers.get("origin")
        foreign = origin is not None and origin != f"http://{host}"
        if foreign or (method in CHANGING and origin is None):
            return 403, "foreign-origin", "This request did not come from this page."
        if headers.get("sec-fetch-site", "none") in ("cross-site", "same-site"):
            return 403, "foreign-origin", "This request did not come from this page."
        length = headers.get("content-length", "0")
        limit = body_limit(scope["path"])
        if not length.isdecimal() or int(length) > limit:
            return 413, "too-large", _too_large(limit)
        if scope["path"] == "/" and b"token=" in scope["query_string"]:
            # the one who answers it looks whether the token is the right one
            return None
        cookies = cookie_parser(headers.get("cookie", ""))
        if not self.admission.is_secret(cookies.get(self.admission.cookie, "")):
            return 403, "no-cookie", OPEN_THE_ADDRESS
        return None

    async def _not_http(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 1008})


def body_limit(path: str) -> int:
    """Return the longest body that is taken at a path, in bytes."""
    if path == "/api/upload":
        return UPLOAD_BYTES
    return MASK_BYTES if "/mask/" in path else BODY_BYTES


def _limited(receive: Receive, limit: int) -> Receive:
    """Return the same with an end to what may come in."""
    taken = 0

    async def receive_limited() -> Message:
        nonlocal taken
        message = await receive()
        if message["type"] == "http.request":
            taken += len(message.get("body", b""))
            if taken > limit:
                raise TooLarge
        return message

    return receive_limited


def _too_large(limit: int) -> str:
    return f"That is more than the {limit // MEGABYTE} MB that are taken here at once."


async def _answer(send: Send, status: int, code: str, sentence: str) -> None:
    body = json.dumps({"error": sentence, "code": code}).encode()
    headers = [(b"content-type", b"application/json"), (b"content-length", b"%d" % len(body))]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
