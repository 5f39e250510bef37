"""How the program ends: the board dark, the answers safe, in a time that is bounded.

An `Endings` is asked to end by whatever comes first: Ctrl+Q (once the person was asked about what could not be saved), a
signal, the terminal gone, a fault of ours. What comes after
that changes nothing. Then, in this order:

1.  **Dark.** The board is ordered dark; this is given `DARK_S`. Its own silence rule sees to the rest.
2.  **Saved.** What is pending becomes a revision, the map is saved; this is given `SAVE_S`. It begins when the board is
    dark, at the latest after `HEAD_START_S`: a save lights nothing, and a mute board must not eat the time. Saves run in
    daemon threads (`run_blocking`) that nobody waits for at exit: one that hangs in the system is left behind.
3.  **Rescued.** What is not on disk by then is written where it can be: the user's state folder, the temporary folder,
    shared memory. A folder that hangs is left for the next one. If all fail, the answers themselves are the words.
4.  **Left.** `on_ended` gets an `Ended`: what to say on the error stream, and whether something is only in the rescue copy.
    The screen closes itself, and the terminal is as it was found.

Whoever runs the process watches the clock (`probe.cli.leaving`): where a loop hangs, it goes on from step 3 without it.
"""

from __future__ import annotations

import asyncio
import contextlib
import contextvars
import threading
import time
from collections.abc import Awaitable, Callable, Sequence
from enum import Enum
from functools import partial
from pathlib import Path
from typing import TypeVar

from probe.document.document import Document, Unsaved
from probe.document.file.trouble import log_trouble
from probe.frozen import frozen
from probe.link.daemon_thread import run_in_daemon

_T = TypeVar("_T")
DARK_S = 1.0
HEAD_START_S = 0.3
SAVE_S = 1.0
RESCUE_S = (0.4, 0.3, 0.2)
"""For each rescue folder in turn. Memory is the last, and fast."""
_JOB_OUT_S = 0.02
_NO_ANSWER = "the disk did not answer in time"


class Reason(Enum):
    """Why the program ends."""

    LEFT = "it was left"
    SIGNAL = "a signal ended it"
    TERMINAL_GONE = "the terminal is gone"
    FAULT = "a fault of this program ended it"


@frozen
class Ending:
    """What ends the program. `signal`: its number, for `SIGNAL`; `error`: what went wrong, for `FAULT`."""

    reason: Reason
    signal: int | None = None
    error: Exception | None = None


@frozen
class Ended:
    """What came of it. `unsaved`: something is only in the rescue copy, or only in `lines`, which are for the person."""

    ending: Ending
    unsaved: bool = False
    lines: tuple[str, ...] = ()


@frozen(kw_only=True)
class EndingWork:
    """What there is to do. `darken` and `save` are cancelled when their time is over; what they raise is logged.

    `document` gives the open map, None while there is none; `save_document` is what `save` is made of. `folders`: where a
    rescued copy may go; found out beforehand, since asking the system may block as well.
    """

    darken: Callable[[], Awaitable[None]]
    save: Callable[[], Awaitable[None]]
    document: Callable[[], Document | None]
    folders: tuple[Path, ...]


_at_work: set[object] = set()
"""One entry for each piece of work that is not through. Threads are not counted: one may live on a moment after its result."""


def _counted(work: Callable[[], _T]) -> Callable[[], _T]:
    entry = object()
    _at_work.add(entry)

    def counted() -> _T:
        try:
            return work()
        finally:
            _at_work.discard(entry)

    return counted


async def run_blocking(work: Callable[[], _T], *, what: str) -> _T:
    """Run work that may block on the disk in a daemon thread. When cancelled, the thread is left behind."""
    return await run_in_daemon(_counted(work), undo=lambda _: None, name=f"saving {what}")


def save_hangs() -> bool:
    """Whether work of `run_blocking` or of a rescue is not through yet."""
    return bool(_at_work)


async def save_document(document: Document) -> None:
    """Make a revision of what is pending, and save; once more after a failure. A job that is out already is waited for."""
    document.close()
    failures = 0
    while not document.is_saved and failures < 2:
        document.retry()
        job = document.save_job()
        if job is None:
            await asyncio.sleep(_JOB_OUT_S)
            continue
        try:
            await run_blocking(job.run, what=document.path)
        except Exception as error:
            failures += 1
            document.finished(job, error)
        else:
            document.finished(job, None)


def rescue(document: Document | None, folders: Sequence[Path], why: str = "") -> tuple[str, ...]:
    """Put what is unsaved where it can be put; returns the lines to say, none if all is saved. Blocks at most a second.

    `why` it is unsaved, in a sentence; otherwise the document's own reason stands.
    """
    if document is None or document.is_saved:
        return ()
    if not why:
        why = document.save.why if isinstance(document.save, Unsaved) else "there was no time to save it"
    lines: list[tuple[str, ...]] = []
    refused: list[str] = []
    for folder, seconds in zip(folders, RESCUE_S, strict=False):

        def attempt(folder: Path = folder) -> None:
            try:
                copy = document.rescue_into(folder)
            except OSError as error:
                refused.append(f"{folder}: {error.strerror or error}")
            else:
                lines.append(document.rescued_lines(why, copy))

        thread = threading.Thread(target=_counted(attempt), name=f"saving into {folder}", daemon=True)
        thread.start()
        thread.join(seconds)
        if lines:
            return lines[0]
        if thread.is_alive():
            refused.append(f"{folder}: no answer")
    return document.unsaved_lines(why, refused)


class Endings:
    """The one ending of the program. `begun` and `ended` say how far it is; `on_begun` is for who watches the clock."""

    def __init__(self, work: EndingWork, *, on_ended: Callable[[Ended], None]) -> None:
        self.begun: Ending | None = None
        self.ended: Ended | None = None
        self.on_begun: Callable[[], None] = lambda: None
        self._work = work
        self._on_ended = on_ended
        self._loop: asyncio.AbstractEventLoop | None = None
        self._context: contextvars.Context | None = None
        self._asked: Ending | None = None
        self._task: asyncio.Task[None] | None = None
        self._lock = threading.Lock()

    @property
    def is_asked(self) -> bool:
        """Whether anything has asked it to end, even if the loop has not heard of it yet."""
        return self.begun is not None or self._asked is not None

    def ready(self) -> None:
        """On the running loop, once; what was asked before begins now."""
        self._loop, self._context = asyncio.get_running_loop(), contextvars.copy_context()
        if self._asked is not None:
            self.request(self._asked)

    def request(self, ending: Ending) -> None:
        """Begin to end, on the loop. Only the first request counts."""
        if self.begun is not None:
            return
        self.begun = ending
        self.on_begun()
        loop = asyncio.get_running_loop()
        self._task = loop.create_task(self._run(ending), name="ending", context=self._context)

    def request_soon(self, ending: Ending) -> None:
        """The same from a signal handler or another thread."""
        if self._asked is None:
            self._asked = ending
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):  # the loop is closed: it has ended
                self._loop.call_soon_threadsafe(self.request, ending)

    async def finish(self) -> None:
        """Wait until it has ended. Without a request before, it is simply left."""
        self.request(Ending(Reason.LEFT))
        assert self._task is not None
        await asyncio.wait([self._task])

    def give_up(self) -> Ended:
        """What has come of it; where the loop did not get so far, what is unsaved is rescued without it. From any thread."""
        with self._lock:
            if self.ended is None:
                lines = rescue(self._work.document(), self._work.folders, _NO_ANSWER)
                self.ended = Ended(self.begun or self._asked or Ending(Reason.LEFT), bool(lines), lines)
            return self.ended

    async def _run(self, ending: Ending) -> None:
        begin = time.monotonic()
        dark = asyncio.ensure_future(_quietly(self._work.darken()))
        await asyncio.wait([dark], timeout=HEAD_START_S)
        save = asyncio.ensure_future(_quietly(self._work.save()))
        await asyncio.wait([save], timeout=SAVE_S)
        await asyncio.wait([dark], timeout=max(0.0, begin + DARK_S - time.monotonic()))
        why = "" if save.done() else _NO_ANSWER
        save.cancel()
        dark.cancel()
        lines = await run_blocking(
            lambda: rescue(self._work.document(), self._work.folders, why), what="a rescued copy"
        )
        with self._lock:
            self.ended = self.ended or Ended(ending, bool(lines), lines)
        self._on_ended(self.ended)


async def _quietly(work: Awaitable[None]) -> None:
    """A failure on the way out must not keep the steps after it from being taken."""
    try:
        await work
    except Exception as error:
        await run_blocking(partial(log_trouble, error), what="the log")
