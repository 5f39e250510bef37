"""The terminal: read without spinning, written without waiting, noticed when it is gone, left as it was found.

Textual's own driver (its `drivers/linux_driver.py`) draws and reads; four things are done otherwise here:

*   **End of input.** A terminal that hung up is readable for ever, with nothing to read (or the error EIO). The stock
    reading thread then spins. Here it ends, and the app's `terminal_gone` is called on the loop, once. That does not need
    SIGHUP, which does not come where it is ignored or where the terminal controls nobody.
*   **Output.** The stock writer holds 30 pieces; with a terminal that takes no more, or a writing thread that died of EIO,
    the next piece blocks the event loop, and no signal and no board is served any more. Here writing never waits: what a
    stalled terminal does not take is dropped beyond `MOST_WAITING` characters, and all is drawn anew when it goes on.
*   **Leaving.** Modes that the stock driver forgets are reset, reset twice does no harm, and while the program is stopped
    (the shell has the terminal then) or the terminal is gone, it is left alone.
*   **In need.** `restore_at_once` does the same from any thread, without the loop: for a program that hangs.
"""

from __future__ import annotations

import contextlib
import errno
import os
import select
import sys
import termios
import threading
from codecs import getincrementaldecoder
from collections import deque
from collections.abc import Callable
from typing import Any, Protocol, cast

from textual._parser import ParseError
from textual._xterm_parser import XTermParser
from textual.app import App
from textual.drivers.linux_driver import LinuxDriver

MOST_WAITING = 4_000_000
"""Characters kept for a terminal that takes none: some hundred full pictures."""
_WAKE_S = 0.1
"""How often the reading thread looks whether it shall end."""
_DRAIN_S = 0.3
"""How long leaving waits for a terminal to take the last sequences."""
_MODES_OFF = (
    "\x1b[?2004l"  # bracketed paste
    "\x1b[?7h"  # line wrap
    "\x1b[?2048l"  # reports of the size in the input
    "\x1b[?1016l\x1b[?1006l\x1b[?1015l\x1b[?1003l\x1b[?1000l"  # mouse: in pixels, SGR, urxvt, all moves, clicks
    "\x1b[<u"  # keyboard protocol, before the screen is left: each screen has its own stack of it
    "\x1b[?1049l"  # alternate screen
    "\x1b[?25h"  # cursor
    "\x1b[?1004l"  # focus reports
    "\x1b[0m"
)


class HearsTerminal(Protocol):
    """The app's half."""

    @property
    def is_ending(self) -> bool:
        """Whether it was asked to end: woken from a stop in the background, it then does not take the terminal back."""

    def terminal_gone(self) -> None:
        """The terminal takes and gives nothing any more. Called on the event loop, once."""


class Outlet:
    """Writes text to a descriptor in a thread of its own; `put` never waits.

    `on_gone` is called in that thread when the descriptor fails, `on_relief` when it takes text again after some had to be
    dropped.
    """

    def __init__(
        self, descriptor: int, *, encoding: str, on_gone: Callable[[], None], on_relief: Callable[[], None]
    ) -> None:
        self._descriptor = descriptor
        self._encoding = encoding
        self._on_gone = on_gone
        self._on_relief = on_relief
        self._pieces: deque[str] = deque()
        self._waiting = 0
        self._dropped = False
        self._busy = False
        self._closed = False
        self._change = threading.Condition()
        threading.Thread(target=self._run, name="terminal output", daemon=True).start()

    def put(self, text: str) -> None:
        """Queue text. After `close`, or when the descriptor has failed, it goes nowhere."""
        with self._change:
            if self._closed or not text:
                return
            if self._waiting + len(text) > MOST_WAITING:
                self._pieces.clear()
                self._waiting, self._dropped = 0, True
            self._pieces.append(text)
            self._waiting += len(text)
            self._change.notify_all()

    def drain(self, within_s: float) -> bool:
        """Wait until all is written; returns whether it is."""
        with self._change:
            return self._change.wait_for(lambda: self._closed or not (self._pieces or self._busy), within_s)

    def close(self) -> None:
        """Take no more text; what is queued is still written if the program lives long enough."""
        with self._change:
            self._closed = True
            self._change.notify_all()

    # --- in the thread ---

    def _run(self) -> None:
        while True:
            with self._change:
                self._busy = False
                self._change.notify_all()
                self._change.wait_for(lambda: self._closed or self._pieces)
                if not self._pieces:
                    return
                text = "".join(self._pieces)
                self._pieces.clear()
                self._waiting, self._busy = 0, True
            try:
                self._write(text.encode(self._encoding, "replace"))
            except OSError:
                self.close()
                with self._change:
                    self._pieces.clear()
                    self._busy = False
                self._on_gone()
                return
            with self._change:
                relieved, self._dropped = self._dropped, False
            if relieved:
                self._on_relief()

    def _write(self, data: bytes) -> None:
        view = memoryview(data)
        while view:
            try:
                view = view[os.write(self._descriptor, view) :]
            except BlockingIOError:  # somebody who shares the terminal made it so
                select.select([], [self._descriptor], [], 1.0)


class TerminalDriver(LinuxDriver):
    """Textual's driver for Unix, with the differences that this module's page names. The app is a `HearsTerminal`."""

    def __init__(
        self, app: App[Any], *, debug: bool = False, mouse: bool = True, size: tuple[int, int] | None = None
    ) -> None:
        super().__init__(app, debug=debug, mouse=mouse, size=size)
        self._hears = cast("HearsTerminal", app)
        self._output = sys.__stderr__.fileno() if sys.__stderr__ is not None else 2
        self._outlet: Outlet | None = None
        self._gone = threading.Event()
        self._in_application_mode = False

    @property
    def gone(self) -> bool:
        """Whether the terminal takes and gives nothing any more."""
        return self._gone.is_set()

    def _report_gone(self) -> None:
        """From any thread."""
        if self._gone.is_set():
            return
        self._gone.set()
        with contextlib.suppress(RuntimeError):  # the loop is closed: the program is leaving already
            self._loop.call_soon_threadsafe(self._hears.terminal_gone)

    # --- output ---

    def write(self, data: str) -> None:
        """As `Driver.write`."""
        if self._outlet is not None:
            self._outlet.put(data)

    def _draw_anew(self) -> None:
        with contextlib.suppress(RuntimeError):
            self._loop.call_soon_threadsafe(lambda: self._app.refresh(layout=True))

    # --- input ---

    def run_input_thread(self) -> None:
        """As in the stock driver, but the thread ends where its input ends."""
        parser = XTermParser(self._debug)
        decode = getincrementaldecoder("utf-8")(errors="replace").decode
        try:
            while not self.exit_event.is_set():
                if select.select([self.fileno], [], [], _WAKE_S)[0]:
                    data = os.read(self.fileno, 4096)
                    if not data:
                        self._report_gone()
                        return
                    if text := decode(data):  # nothing yet of a character that came in part
                        for event in parser.feed(text):
                            self.process_message(event)
                for event in parser.tick():
                    self.process_message(event)
        except OSError as error:
            if error.errno not in (errno.EIO, errno.ENXIO, errno.EBADF, errno.ENODEV):
                raise
            self._report_gone()
        finally:
            with contextlib.suppress(EOFError, ParseError):
                for _ in parser.feed(""):
                    pass

    # --- modes ---

    def start_application_mode(self) -> None:
        """As `Driver.start_application_mode`."""
        encoding = getattr(self._file, "encoding", None) or "utf-8"
        if self._outlet is None:
            self._outlet = Outlet(self._output, encoding=encoding, on_gone=self._report_gone, on_relief=self._draw_anew)
        self._in_application_mode = True
        self._key_thread = None
        super().start_application_mode()  # type: ignore[no-untyped-call]
        if self._key_thread is None:  # the stock driver gives up without a word where the terminal refuses its settings
            self._report_gone()

    def stop_application_mode(self) -> None:
        """As `Driver.stop_application_mode`; a second call does nothing."""
        if not self._in_application_mode:
            return
        self._in_application_mode = False
        self.disable_input()
        self._restore_settings()
        self.write(_MODES_OFF)
        if self._outlet is not None and not self.gone:
            self._outlet.drain(_DRAIN_S)

    def _restore_settings(self) -> None:
        if self.attrs_before is not None and not self.gone:
            with contextlib.suppress(termios.error):
                termios.tcsetattr(self.fileno, termios.TCSANOW, self.attrs_before)

    def close(self) -> None:
        """As `Driver.close`."""
        super().close()
        self._writer_thread = None
        if self._outlet is not None:
            self._outlet.close()
            self._outlet = None

    def _sigcont_application(self, *args: object) -> None:
        if not self._hears.is_ending:
            super()._sigcont_application(*args)

    def restore_at_once(self) -> None:
        """Leave the terminal as it was found, from any thread and without the event loop. May block on a stalled one."""
        if not self._in_application_mode or self.gone:
            return
        self._in_application_mode = False
        self._restore_settings()
        with contextlib.suppress(OSError):
            os.write(self._output, _MODES_OFF.encode("ascii"))
