"""Exit codes of the command, and the one way out for all that commands print.

Nothing else in `probe.cli` writes to the output or the error stream. Every line that leaves here is one line, without
control characters: text from a map, a settings file, a table, a board, a path or the command line can neither steer the
terminal nor pass for a line of the program's own. JSON and documents stay exact.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import sys
from collections.abc import Iterable
from enum import IntEnum
from typing import TYPE_CHECKING, Any, NoReturn, TextIO

from probe.document.outside_text import escaped

if TYPE_CHECKING:
    from _typeshed import SupportsWrite


_LEAST_FOLD = 40
"""Cells; a terminal narrower than this breaks the lines itself."""


class Exit(IntEnum):
    """What the command's exit code means."""

    FINE = 0
    FINDINGS = 1
    """`check`: there are faults in the map; `diff`: the maps differ."""
    USAGE = 2
    """The command line cannot be understood."""
    FILE = 3
    """A file cannot be read, written or understood. Nothing was changed."""
    BOARD = 4
    """A port or board gives trouble."""
    INTERNAL = 5
    """A fault of this program; details are in the log."""
    RESCUED = 6
    """Something could not be saved, and is only in the rescue copy, or only on the error stream: the message names which."""
    STOPPED = 130
    """Stopped with Ctrl+C. The full-screen program, ended by any signal n with all saved, gives 128 + n."""


def say(*lines: str) -> None:
    """Print lines on the output stream."""
    _print(lines, sys.stdout)


def say_folded(*sentences: str) -> None:
    """Print long sentences: on a terminal folded between words, what follows indented; elsewhere a line each, as `say`."""
    _print_folded(sentences, sys.stdout)


def complain(what: str) -> None:
    """Say on the error stream what is wrong: in one line, folded between words on a terminal."""
    _print_folded((f"playfield-probe: {what}",), sys.stderr)


def complain_past_python(*sentences: str) -> None:
    """As `complain`, past Python's own error stream, whose lock a writer that hangs may hold. Raises nothing."""
    text = "".join(f"playfield-probe: {escaped(sentence)}\n" for sentence in sentences)
    with contextlib.suppress(OSError):
        os.write(2, text.encode("utf-8", "backslashreplace"))


def say_json(value: Any) -> None:
    """Print a value as JSON. It is exact, and safe on a terminal: in its texts all but printable ASCII is escaped."""
    sys.stdout.write(json.dumps(value, indent=2, ensure_ascii=True, allow_nan=False) + "\n")


def say_document(text: str) -> None:
    """A whole document on the output stream: exact in a file or a pipe, harmless lines on a terminal."""
    if sys.stdout.isatty():
        say(*(line.removesuffix("\r") for line in text.removesuffix("\n").split("\n")))
        return
    sys.stdout.flush()
    sys.stdout.buffer.write(text.encode("utf-8"))
    sys.stdout.buffer.flush()


def can_ask() -> bool:
    """Whether somebody at a terminal sees a question, and can answer."""
    return all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stdout))


def ask(question: str) -> str | None:
    """Print a question; the line typed, without spaces around it, or None when the terminal is gone."""
    say(question)
    flush()
    line = sys.stdin.readline()
    return line.strip() if line else None


def flush() -> None:
    """Send what is printed. Raises OSError when the terminal is gone."""
    sys.stderr.flush()
    sys.stdout.flush()


def nobody_reads(*descriptors: int) -> None:
    """Send what is printed from now on nowhere: its reader is gone, and Python would complain of that at its exit."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for descriptor in descriptors:
        os.dup2(nowhere, descriptor)


class CommandParser(argparse.ArgumentParser):
    """A parser whose help, usage and errors leave by the same way. Its commands' parsers are of this class too."""

    def __init__(self, *arguments: Any, **more: Any) -> None:
        super().__init__(*arguments, **more)
        self.color = False  # Python 3.14 colours by control characters

    def _check_value(self, action: argparse.Action, value: Any) -> None:
        """A wrong command or format: the one that was most likely meant, or all there are."""
        if action.choices is None or value in action.choices:
            return
        import difflib

        known = [str(choice) for choice in action.choices]
        near = difflib.get_close_matches(str(value), known, n=1)
        hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"
        raise argparse.ArgumentError(action, f"there is no {value!r}: {hint}")

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> tuple[Any, list[str]]:
        """As argparse does, but the command that has no place for a word says so itself: its usage shows what it takes."""
        known, unknown = super().parse_known_args(args, namespace)
        if unknown:
            self.error(f"unknown argument{'s' if len(unknown) > 1 else ''}: {' '.join(unknown)}")
        return known, unknown

    def error(self, message: str) -> NoReturn:
        """Say how the command is used, and what is wrong, in one line (folded on a terminal); exit code 2."""
        self.print_usage(sys.stderr)
        _print_folded((f"{self.prog}: error: {message}",), sys.stderr)
        self.exit(Exit.USAGE)

    def _print_message(self, message: str, file: SupportsWrite[str] | None = None) -> None:
        if message:
            _print(message.removesuffix("\n").split("\n"), file or sys.stderr)


def _print(lines: Iterable[str], stream: SupportsWrite[str] | None) -> None:
    if stream is None:  # as under pythonw
        return
    text = "".join(f"{escaped(line)}\n" for line in lines)
    encoding = getattr(stream, "encoding", None) or "utf-8"
    stream.write(text.encode(encoding, "backslashreplace").decode(encoding))


def _print_folded(sentences: Iterable[str], stream: TextIO | None) -> None:
    if stream is None or not stream.isatty():
        _print(sentences, stream)
        return
    import shutil
    import textwrap

    width = max(_LEAST_FOLD, shutil.get_terminal_size().columns - 1)
    for sentence in sentences:
        lines = textwrap.wrap(
            escaped(sentence), width, subsequent_indent="    ", break_long_words=False, break_on_hyphens=False
        )
        _print(lines or ("",), stream)
