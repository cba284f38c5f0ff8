"""Starting and ending the server."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from stacker.errors import OptionError

if TYPE_CHECKING:
    from stacker.page.folder import Served

HIGHEST_PORT = 65535
EVERYWHERE = ("0.0.0.0", "::")
# how long answers that are on their way may take once the end was asked for
ENDING_S = 3


@dataclass(frozen=True)
class Place:
    """What is served, where results go, and at which address."""

    burst: Path
    output: Path
    host: str
    port: int
    allow_network: bool

    @property
    def is_private(self) -> bool:
        """Whether only this machine can reach it."""
        from stacker.page.guard import is_loopback

        return is_loopback(self.host)

    @property
    def is_everywhere(self) -> bool:
        """Whether it is listened at on all addresses of this machine."""
        return self.host in EVERYWHERE


def check_place(place: Place) -> None:
    """Refuse what cannot be served, in one sentence.

    Raises
    ------
    OptionError
        The libraries are missing, there is no such folder, or the network was not allowed.
    """
    try:
        import starlette  # noqa: F401
        import uvicorn  # noqa: F401
    except ImportError as error:
        raise OptionError(
            "stacker serve",
            f"the page needs {error.name}, which is not installed",
            remedy="install it with: pip install '.[page]'",
            code="page-not-installed",
        ) from error
    if not place.burst.exists():
        raise OptionError(
            str(place.burst),
            "there is no such folder",
            remedy="check the name",
            code="no-such-file",
        )
    if not place.output.is_dir():
        raise OptionError(
            f"--output {place.output}",
            "there is no such folder",
            remedy="make the folder first",
            code="option-value",
        )
    if not 0 <= place.port <= HIGHEST_PORT:
        raise OptionError(
            f"--port {place.port}",
            "is no port",
            remedy=f"give a number from 0 to {HIGHEST_PORT}",
            code="option-value",
        )
    if not place.is_private and not place.allow_network:
        raise OptionError(
            f"--host {place.host}",
            "others on the network could reach the page there",
            remedy="add --allow-network if that is meant, or leave --host out",
            code="option-network",
        )


def served_at(place: Place) -> Served:
    """Return what may be seen, and where results go."""
    from stacker.page.folder import Served

    root = place.burst.resolve()
    output = place.output.resolve()
    if root.is_file():
        return Served(root.parent, output, recent=root.name)
    served = Served(root, output)
    own = any(each.place == "." for each in served.bursts())
    return Served(root, output, recent="." if own else None)


def serve_page(place: Place, *, ready: Callable[[str], None]) -> None:
    """Serve until interrupted; ``ready`` is called with the address to open.

    Raises
    ------
    OptionError
        The address or the port cannot be had.
    """
    import uvicorn

    from stacker.page.app import make_app
    from stacker.page.desk import Desk
    from stacker.page.guard import Pass

    with _listening(place.host, place.port) as listener:
        admission = Pass(port=listener.getsockname()[1], host=place.host)
        desk = Desk(served_at(place))
        app = make_app(desk, admission)
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            date_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=ENDING_S,
        )
        ready(address_of(place.host, admission))
        try:
            # an interrupt is how one ends it: no failure
            with suppress(KeyboardInterrupt):
                uvicorn.Server(config).run(sockets=[listener])
        finally:
            desk.close()


def address_of(host: str, admission: object) -> str:
    """Return the address that lets one in."""
    from stacker.page.guard import Pass

    assert isinstance(admission, Pass)
    if host in EVERYWHERE:
        # listened at everywhere: this machine itself is one of the places
        host = "127.0.0.1" if host == "0.0.0.0" else "::1"
    name = f"[{host}]" if ":" in host else host
    return f"http://{name}:{admission.port}/?token={admission.token}"


def _listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens.

    Raises
    ------
    OptionError
        Somebody else does, or the address is none of this machine's.
    """
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    try:
        if os.name == "posix":
            # elsewhere it would let two programs have one port
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind((host, port))
        listener.listen()
    except OSError as error:
        listener.close()
        raise OptionError(
            f"--port {port}" if error.errno in _TAKEN else f"--host {host}",
            "another program listens there already"
            if error.errno in _TAKEN
            else f"it cannot be listened at ({error.strerror or error})",
            remedy="give another, such as --port 0 for any that is free"
            if error.errno in _TAKEN
            else "give an address of this machine",
            code="port-taken",
        ) from error
    return listener


_TAKEN = (48, 98, 10048)
