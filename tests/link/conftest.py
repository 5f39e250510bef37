"""Fixtures of the link's tests."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Callable

import pytest

from device_protocol import session


async def until(done: Callable[[], object], *, within_s: float = 5.0) -> None:
    """Give other tasks and threads time to do what is awaited."""
    deadline = time.monotonic() + within_s
    while not done():
        assert time.monotonic() < deadline, "awaited in vain"
        await asyncio.sleep(0.005)


@pytest.fixture
async def nothing_is_left() -> AsyncIterator[None]:
    """Fails when a thread, a task of the link or a report to the loop's exception handler is left behind."""
    reports: list[object] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: reports.append(context))
    before = set(threading.enumerate())
    yield
    await until(lambda: set(threading.enumerate()) <= before)
    left = [task for task in asyncio.all_tasks() if "link" in repr(task.get_coro())]
    assert not left
    assert not reports


@pytest.fixture
def short_identify(monkeypatch: pytest.MonkeyPatch) -> None:
    """Give up on a port after 0.6 s instead of 5 s, for tests in which nobody will ever answer."""
    monkeypatch.setattr(session, "CONNECT_MS", 600.0)
