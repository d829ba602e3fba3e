"""A copy of the books to take away: made in a folder of its own, sent, and removed."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from starlette.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

AT_ONCE = 65_536  # bytes
WORKBOOK = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


class Copy(StreamingResponse):
    """A file that goes with its folder when it was sent, or when whoever asked went away.

    It is sent from its beginning only: a part of another copy would not fit to it.
    """

    def __init__(self, path: Path, kind: str):
        self.path = path
        headers = {
            "Content-Disposition": f'attachment; filename="{path.name}"',
            "Content-Length": str(path.stat().st_size),
            "Cache-Control": "no-store",
        }
        super().__init__(_parts(path), media_type=kind, headers=headers)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it, and remove it however that ends."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            shutil.rmtree(self.path.parent, ignore_errors=True)


def copy_of(make: Callable[[Path], Path], ending: str, kind: str, of: str = "books") -> Copy:
    """Have a copy made and hand it out, under a name with the day."""
    folder = Path(tempfile.mkdtemp(prefix="tierpole-copy-"))  # its owner's alone
    try:
        today = datetime.now().astimezone().date()
        return Copy(make(folder / f"farm-{of.replace('_', '-')}-{today}.{ending}"), kind)
    except BaseException:
        shutil.rmtree(folder, ignore_errors=True)
        raise


def _parts(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while part := file.read(AT_ONCE):
            yield part
