"""Ctrl-C while planning: the first one keeps what is there, the second ends at once."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Generator
from contextlib import contextmanager
from types import FrameType

import click


@contextmanager
def stop_on_interrupt(stop: Callable[[], None]) -> Generator[None]:
    """Within it, the first Ctrl-C calls `stop`, which asks the work to end with its best plan."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.getsignal(signal.SIGINT)

    def asked(_number: int, _frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, before)
        click.echo("Stopping with the best plan so far; Ctrl-C again ends at once.", err=True)
        stop()

    signal.signal(signal.SIGINT, asked)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
