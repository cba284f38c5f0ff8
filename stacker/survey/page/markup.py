"""The few pieces of HTML that the page is made of. Whatever is text is escaped here."""

from __future__ import annotations

import base64
from collections.abc import Iterable
from html import escape

# how the files that go into the page begin
JPEG, PNG = b"\xff\xd8", b"\x89PNG"


def text(words: object) -> str:
    """Return words as they may stand anywhere in the page, in quotes too.

    Names of files may hold what is no text at all: it is shown as an escape.
    """
    return escape(str(words).encode("utf-8", "backslashreplace").decode())


def paragraph(words: str, kind: str = "") -> str:
    """Return a paragraph; none for no words."""
    return f"<p{_of(kind)}>{text(words)}</p>\n" if words else ""


def section(title: str, *parts: str, kind: str = "") -> str:
    """Return a part of the page with a title; nothing where there is nothing in it."""
    inside = "".join(parts)
    return f"<section{_of(kind)}>\n<h2>{text(title)}</h2>\n{inside}</section>\n" if inside else ""


def picture(data: bytes, alt: str, *, kind: str = "", lazy: bool = False) -> str:
    """Return a picture that lies in the page itself.

    ``lazy`` lets a browser decode it when it comes into view.
    """
    media = "image/png" if data.startswith(PNG) else "image/jpeg"
    code = base64.b64encode(data).decode()
    later = ' decoding="async"' if lazy else ""
    return f'<img{_of(kind)} src="data:{media};base64,{code}" alt="{text(alt)}"{later}>'


def on_mat(inside: str) -> str:
    """Return a picture on a neutral grey."""
    return f'<div class="mat">{inside}</div>'


def figure(inside: str, caption: str = "", kind: str = "") -> str:
    """Return a picture or drawing with its caption."""
    below = f"<figcaption>{text(caption)}</figcaption>" if caption else ""
    return f"<figure{_of(kind)}>{inside}{below}</figure>\n"


def row(*parts: str, kind: str = "row") -> str:
    """Return things side by side, one below the other where it is narrow."""
    return f"<div{_of(kind)}>{''.join(parts)}</div>\n"


def facts(pairs: Iterable[tuple[str, str]]) -> str:
    """Return figures with their names."""
    inside = "".join(
        f"<div><dt>{text(name)}</dt><dd>{text(value)}</dd></div>" for name, value in pairs if value
    )
    return f"<dl>{inside}</dl>\n" if inside else ""


def shares(parts: Iterable[tuple[str, str, float]]) -> str:
    """Return shares of one as a bar; each with a name, a kind for its colour, and 0 to 1.

    The words below the bar say the same, so nobody has to see it.
    """
    inside = "".join(
        f'<span class="{text(kind)}" style="width:{100 * share:.2f}%"></span>'
        for _, kind, share in parts
        if share > 0
    )
    return f'<div class="bar" aria-hidden="true">{inside}</div>\n'


def listed(items: Iterable[str], kind: str = "") -> str:
    """Return a list of finished HTML."""
    inside = "".join(f"<li>{item}</li>\n" for item in items)
    return f"<ul{_of(kind)}>\n{inside}</ul>\n" if inside else ""


def folded(summary: str, inside: str) -> str:
    """Return something that opens when asked for."""
    return f"<details><summary>{text(summary)}</summary>\n{inside}</details>\n"


def _of(kind: str) -> str:
    return f' class="{text(kind)}"' if kind else ""
