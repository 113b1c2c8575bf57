"""Answers in HTML, and the words of the catalogue for pages."""

from functools import lru_cache
from typing import Any

from fastapi import Request, Response
from fastapi.responses import HTMLResponse, RedirectResponse

from analysis.faults import CATALOGUE
from dashboards.render import render
from dashboards.texts import Texts
from service.policy import policy


def page(template: str, *, status: int = 200, **context: Any) -> Response:
    """Render a page; nobody keeps a copy, because it holds a household's affairs."""
    return HTMLResponse(
        render(template, **context), status_code=status, headers={"Cache-Control": "no-store"}
    )


def mail_page(template: str, *, html: str, **context: Any) -> Response:
    """Render a page that shows a mail in a frame; the styles of this mail are allowed on it."""
    answer = page(template, html=html, **context)
    answer.headers["Content-Security-Policy"] = policy(html)
    return answer


def error_page(request: Request, *, status: int, title: str, detail: str) -> Response:
    """Say what went wrong, to a person."""
    del request
    return page("error.html", status=status, code=status, title=title, detail=detail)


def see_other(path: str) -> Response:
    """Send the browser on after a form."""
    return RedirectResponse(path, status_code=303)


@lru_cache(maxsize=1)
def texts() -> Texts:
    """Give what people read about each kind."""
    return {fault.kind: fault.text for fault in CATALOGUE}
