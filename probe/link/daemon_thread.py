"""Blocking work in a daemon thread of its own, which never keeps the program from ending."""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable
from typing import TypeVar

_T = TypeVar("_T")


async def run_in_daemon(work: Callable[[], _T], *, undo: Callable[[_T], None], name: str) -> _T:
    """Run blocking `work` in a daemon thread of its own. When cancelled meanwhile, `undo` gets the late result."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[_T] = loop.create_future()
    abandoned = threading.Event()

    def deliver(result: _T | None, error: BaseException | None) -> None:
        if future.done():
            if error is None:
                threading.Thread(target=undo, args=(result,), name=f"{name} undone", daemon=True).start()
        elif error is not None:
            future.set_exception(error)
        else:
            future.set_result(result)  # type: ignore[arg-type]  # None is a result where _T allows it

    def body() -> None:
        try:
            result = work()
        except BaseException as error:
            with contextlib.suppress(RuntimeError):  # the loop is closed: nobody waits any more
                loop.call_soon_threadsafe(deliver, None, error)
            return
        try:
            if abandoned.is_set():
                undo(result)
            else:
                loop.call_soon_threadsafe(deliver, result, None)
        except RuntimeError:
            undo(result)

    threading.Thread(target=body, name=name, daemon=True).start()
    try:
        return await future
    except asyncio.CancelledError:
        abandoned.set()
        if future.done() and not future.cancelled() and future.exception() is None:  # both in the same turn of the loop
            threading.Thread(target=undo, args=(future.result(),), name=f"{name} undone", daemon=True).start()
        raise
