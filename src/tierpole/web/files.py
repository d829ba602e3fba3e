"""Styles, scripts and type: everything a page loads comes from this package."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files
from pathlib import Path

from fastapi import FastAPI
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

A_YEAR = "public, max-age=31536000, immutable"
STATIC = Path(str(files("tierpole.web") / "static"))
FONTS = Path(str(files("tierpole") / "data" / "fonts"))


class _Lasting(StaticFiles):
    """Files a browser may keep for a year, because their address changes with their content."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        response = await super().get_response(path, scope)
        if response.status_code == 200 and b"v=" in scope.get("query_string", b""):
            response.headers["Cache-Control"] = A_YEAR
        return response


def add_files(app: FastAPI) -> None:
    """Serve `/static` and `/fonts`."""
    app.mount("/static", _Lasting(directory=STATIC), name="static")
    app.mount("/fonts", _Lasting(directory=FONTS), name="fonts")


@cache
def file_address(name: str) -> str:
    """The address of a static file with its content's mark: `/static/pages.css?v=1a2b3c4d`."""
    mark = hashlib.sha256((STATIC / name).read_bytes()).hexdigest()[:8]
    return f"/static/{name}?v={mark}"
