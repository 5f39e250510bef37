"""Runs the shared conversations (device_protocol/conversations) against any board behind a small adapter.

The format is described in device_protocol/conversations/README.md. To run them on another board, give
`run_conversation` an object with the methods of `BoardUnderTest`.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from device_protocol.framing import crc16

CONVERSATIONS = Path(__file__).resolve().parents[2] / "device_protocol" / "conversations"
SHARED_BOARD = {
    "outputs": "1",
    "pixels": "1000",
    "line": "96",
    "ceiling": "2000",
    "channel": "20000",
    "idle": "1000",
    "features": "all",
}
REPLY_MS = 400.0
"""How long a line that has to come is awaited. Generous: nothing is timed here."""


class BoardUnderTest(Protocol):
    """What the runner needs of a board that has just been powered up."""

    def send(self, data: bytes) -> None:
        """Bytes from the host arrive at the board."""

    def receive_line(self, timeout_ms: float) -> bytes | None:
        """The next line from the board, without LF; None when none comes within `timeout_ms` of the board's time."""

    def advance(self, ms: float) -> None:
        """Time passes for the board. Lines that it sends meanwhile are kept for `receive_line`."""

    def press(self) -> None:
        """The step button is pressed and released, and debounced."""

    def set_input(self, number: int, on: bool) -> None:
        """The game's lamp output at an input, from 1, goes on or off."""

    def lose_bytes(self) -> None:
        """Bytes of the line now arriving are lost."""

    def last_frame(self, output: int) -> bytes | None:
        """The bytes of the last frame clocked out on `output`, None when there was none."""


@dataclass(frozen=True)
class Step:
    """One line of a conversation."""

    number: int
    verb: str
    rest: str


@dataclass(frozen=True)
class Conversation:
    """A conversation file: the board it asks for, and its steps."""

    name: str
    board: Mapping[str, str]
    steps: tuple[Step, ...]

    @property
    def for_shared_board(self) -> bool:
        """True when it runs on the board that all implementations can build."""
        return dict(self.board) == SHARED_BOARD

    @property
    def verbs(self) -> frozenset[str]:
        """Kinds of steps in it, so that a board that cannot lose bytes on demand can tell."""
        return frozenset(step.verb for step in self.steps)


class ConversationError(AssertionError):
    """The board did not say or do what the conversation expects."""


def read_conversation(path: Path) -> Conversation:
    """Read a .conv file. Raises ValueError naming file and line."""
    steps: list[Step] = []
    board: dict[str, str] | None = None
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        text = line.strip()
        if not text or text.startswith("#"):
            continue
        verb, _, rest = text.partition(" ")
        if verb not in _VERBS:
            raise ValueError(f"{path.name}:{number}: unknown step {verb!r}")
        if (verb == "board") != (board is None):
            raise ValueError(f"{path.name}:{number}: `board` is the first step, and only the first")
        if board is None:
            board = dict(part.split("=", 1) for part in rest.split())
        else:
            steps.append(Step(number, verb, rest))
    if board is None:
        raise ValueError(f"{path.name}: no `board` step")
    return Conversation(path.stem, board, tuple(steps))


def all_conversations(folder: Path = CONVERSATIONS) -> list[Conversation]:
    """Every conversation of the shared set, by name."""
    return [read_conversation(path) for path in sorted(folder.glob("*.conv"))]


def shared_conversations() -> list[Conversation]:
    """Those that run on the board that all implementations can build."""
    return [conversation for conversation in all_conversations() if conversation.for_shared_board]


def sealed(body: str) -> bytes:
    """`body` with its CRC, without LF."""
    data = body.encode("ascii")
    return b"%b*%04X" % (data, crc16(data))


def _matches(expected: str, got: str) -> bool:
    wanted, found = expected.split(" "), got.split(" ")
    return len(wanted) == len(found) and all(
        want in (have, "_") or (want.endswith("=_") and have.startswith(want[:-1]))
        for want, have in zip(wanted, found, strict=True)
    )


def _body_of(line: bytes) -> str:
    found = re.fullmatch(rb"([ -)+-~]+)\*([0-9A-F]{4})", line)
    if found is None:
        raise ConversationError(f"not a line of the protocol: {line!r}")
    if crc16(found[1]) != int(found[2], 16):
        raise ConversationError(f"wrong checksum on {line!r}")
    return found[1].decode()


def expand_frame(parts: Iterable[str]) -> bytes:
    """`000000x3 000020` as bytes: each part is one pixel's bytes in hex, xN repeats it."""
    frame = b""
    for part in parts:
        digits, _, times = part.partition("x")
        frame += bytes.fromhex(digits) * (int(times) if times else 1)
    return frame


def _shorten(frame: bytes) -> str:
    text = frame.hex().upper()
    return text if len(text) <= 120 else f"{text[:80]}… ({len(frame)} bytes)"


def _expect_line(board: BoardUnderTest, body: str) -> None:
    line = board.receive_line(REPLY_MS)
    if line is None:
        raise ConversationError(f"expected {body!r}, nothing came")
    got = _body_of(line)
    if not _matches(body, got):
        raise ConversationError(f"expected {body!r}, got {got!r}")


def _expect_frame(board: BoardUnderTest, rest: str) -> None:
    output, *parts = rest.split()
    expected, got = expand_frame(parts), board.last_frame(int(output))
    if got is None:
        raise ConversationError(f"no frame on output {output}")
    if got != expected:
        raise ConversationError(f"frame {_shorten(got)}, expected {_shorten(expected)}")


def _expect_nothing(board: BoardUnderTest, rest: str) -> None:
    line = board.receive_line(float(rest))
    if line is not None:
        raise ConversationError(f"expected nothing, got {line!r}")


def _set_input(board: BoardUnderTest, rest: str) -> None:
    number, on = rest.split()
    board.set_input(int(number), on == "1")


def _raw(text: str) -> bytes:
    return str(ast.literal_eval(text)).encode("latin-1")


_VERBS = {
    "board": lambda board, rest: None,
    ">": lambda board, rest: board.send(sealed(">" + rest) + b"\n"),
    "raw": lambda board, rest: board.send(_raw(rest)),
    "hand": lambda board, rest: board.send(rest.encode("ascii") + b"\n"),
    "<": lambda board, rest: _expect_line(board, "<" + rest),
    "!": lambda board, rest: _expect_line(board, "!" + rest),
    "~": lambda board, rest: _expect_line(board, "~" + rest),
    "none": _expect_nothing,
    "wait": lambda board, rest: board.advance(float(rest)),
    "press": lambda board, rest: board.press(),
    "input": lambda board, rest: _set_input(board, rest),
    "lost": lambda board, rest: board.lose_bytes(),
    "frame": _expect_frame,
}


def run_conversation(conversation: Conversation, board: BoardUnderTest) -> None:
    """Play every step. Raises ConversationError with file, line and step at the first difference."""
    for step in conversation.steps:
        try:
            _VERBS[step.verb](board, step.rest)
        except ConversationError as error:
            where = f"{conversation.name}.conv:{step.number}: {step.verb} {step.rest}"
            raise ConversationError(f"{where}\n  {error}") from None
    left = board.receive_line(5)
    if left is not None:
        raise ConversationError(f"{conversation.name}.conv: after the last step the board also said {left!r}")
