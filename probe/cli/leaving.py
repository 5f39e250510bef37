"""The process around the full-screen program: signals in, exit code and last words out, and gone in time.

SIGTERM, SIGINT, SIGQUIT and SIGHUP (unless that was ignored when the program was started, as under nohup) ask the program's
`Endings` to end; how that goes is on the page of `probe.runtime.ending`. From the first request on a thread watches the
clock. After `LIMIT_S`, or `HANGS_S` if the loop has not even begun to end, it does without the loop what is left: rescues,
gives the terminal back, prints the last words and ends the process. So a loop, a save or a terminal that hangs costs three seconds at most, and no answer.

Handlers are set with `signal.signal` and hand over with `call_soon_threadsafe`, as asyncio's own one for SIGINT does: they
also run where the loop is busy, and outlive it.
"""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable
from types import FrameType, TracebackType
from typing import Self

from probe.cli.outcome import Exit, complain, complain_past_python, flush, nobody_reads, say
from probe.document.file.trouble import fault_sentence
from probe.runtime.ending import Ended, Ending, Endings, Reason, save_hangs

HANGS_S = 1.5
LIMIT_S = 2.5
_LAST_S = 0.2
"""For the terminal, and again for the last words, when the clock has run out."""
_NAMES = ("SIGTERM", "SIGINT", "SIGQUIT", "SIGHUP")
_SIGNALS = tuple(getattr(signal, name) for name in _NAMES if hasattr(signal, name))
_HANG_UP = 1
"""The number of SIGHUP, also where there is none."""


def exit_code(ended: Ended) -> int:
    """What the process ends with: unsaved comes before all else, then the signal, then the fault."""
    if ended.unsaved:
        return Exit.RESCUED
    match ended.ending:
        case Ending(Reason.SIGNAL, int(number)):
            return 128 + number
        case Ending(Reason.TERMINAL_GONE):
            return 128 + _HANG_UP
        case Ending(Reason.FAULT):
            return Exit.INTERNAL
        case _:
            return Exit.FINE


class Leaving:
    """Around `app.run()`, as a context manager. `restore` gives the terminal back from any thread."""

    def __init__(self, endings: Endings, *, restore: Callable[[], None]) -> None:
        self._endings = endings
        self._restore = restore
        self._watching = False
        self._said = False
        self._goes_on = threading.Event()
        self._handled: list[int] = []
        endings.on_begun = self._begin_to_watch

    def __enter__(self) -> Self:
        for number in _SIGNALS:
            ignored_hang_up = number == _HANG_UP and signal.getsignal(number) == signal.SIG_IGN
            if not ignored_hang_up:
                signal.signal(number, self._on_signal)
                self._handled.append(number)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._goes_on.is_set():
            for number in self._handled:  # whoever comes next handles them anew
                signal.signal(number, signal.SIG_DFL)
            return
        for number in _SIGNALS:  # the exit code is settled: a second signal must not take it away
            signal.signal(number, signal.SIG_IGN)

    def _on_signal(self, number: int, frame: FrameType | None) -> None:
        self._begin_to_watch()
        self._endings.request_soon(Ending(Reason.SIGNAL, signal=number))

    def _begin_to_watch(self) -> None:
        if self._watching:
            return
        self._watching = True
        if threading.current_thread() is threading.main_thread():
            for name in ("SIGTTOU", "SIGTTIN"):  # in the background, touching the terminal must not stop the program
                if hasattr(signal, name):
                    signal.signal(getattr(signal, name), signal.SIG_IGN)
        threading.Thread(target=self._watch, name="watching the clock", daemon=True).start()

    def finish(self, goodbye: str = "", *, goes_on: bool = False) -> int:
        """Say the last words, with the terminal given back; returns the exit code, or ends the process if a save hangs.

        `goes_on`: the process goes on with something else, so nobody watches any more whether it ends.
        """
        ended = self._endings.give_up()
        self._say(ended, goodbye)
        self._said = True
        if save_hangs():
            os._exit(exit_code(ended))
        if goes_on and exit_code(ended) == Exit.FINE:
            self._goes_on.set()
        return exit_code(ended)

    def _say(self, ended: Ended, goodbye: str) -> None:
        lines = _last_lines(ended)
        try:
            for line in lines:
                complain(line)
            if goodbye and not lines:
                say(*goodbye.split("\n"))
            flush()
        except OSError:  # the terminal is gone; Python would complain of it at its exit, and change the exit code
            nobody_reads(1, 2)

    # --- in the watching thread ---

    def _watch(self) -> None:
        if self._goes_on.wait(HANGS_S):
            return
        if self._endings.begun is not None and self._goes_on.wait(LIMIT_S - HANGS_S):
            return
        ended = self._endings.give_up()
        _within(_LAST_S, self._restore)
        if not self._said:
            _within(_LAST_S, lambda: complain_past_python(*_last_lines(ended)))
        os._exit(exit_code(ended))


def _last_lines(ended: Ended) -> list[str]:
    error = ended.ending.error
    return [*([fault_sentence(error)] if error is not None else []), *ended.lines]


def _within(seconds: float, work: Callable[[], None]) -> None:
    """Work that may block, for at most that long."""
    thread = threading.Thread(target=work, name="last words", daemon=True)
    thread.start()
    thread.join(seconds)
