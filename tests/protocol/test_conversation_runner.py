"""The runner of the conversations finds what it should: a wrong board must not pass."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.protocol.conversation import (
    Conversation,
    ConversationError,
    expand_frame,
    read_conversation,
    run_conversation,
    sealed,
)

BOARD = "board outputs=1 pixels=1000 line=96 ceiling=2000 channel=20000 idle=1000 features=all"


class ScriptedBoard:
    """Says the given lines whatever is sent."""

    def __init__(self, *lines: bytes, frame: bytes | None = None) -> None:
        self.lines = list(lines)
        self.frame = frame
        self.sent = b""

    def send(self, data: bytes) -> None:
        self.sent += data

    def receive_line(self, timeout_ms: float) -> bytes | None:
        return self.lines.pop(0) if self.lines else None

    def advance(self, ms: float) -> None:
        pass

    def press(self) -> None:
        pass

    def set_input(self, number: int, on: bool) -> None:
        pass

    def lose_bytes(self) -> None:
        pass

    def last_frame(self, output: int) -> bytes | None:
        return self.frame


Write = Callable[..., Conversation]


@pytest.fixture
def conversation(tmp_path: Path) -> Write:
    def write(*steps: str) -> Conversation:
        path = tmp_path / "made.conv"
        path.write_text("\n".join([BOARD, *steps]) + "\n", encoding="utf-8")
        return read_conversation(path)

    return write


def test_what_is_sent(conversation: Write) -> None:
    board = ScriptedBoard()
    run_conversation(conversation("> 01 id", 'raw "a\\x00\\xff\\n"', "hand ?"), board)
    assert board.sent == sealed(">01 id") + b"\na\x00\xff\n?\n"


def test_what_is_accepted(conversation: Write) -> None:
    made = conversation("< 01 ok 5 uptime=_ _", "none 20", "frame 0 000102x2 FF")
    run_conversation(made, ScriptedBoard(sealed("<01 ok 5 uptime=77 x"), frame=bytes.fromhex("000102000102FF")))


@pytest.mark.parametrize(
    "line",
    [
        None,
        b"",
        b"<01 ok 5*0000",
        sealed("<01 ok 6"),
        sealed("<01 ok"),
        sealed("<01 ok 5 5"),
        sealed("<02 ok 5"),
        sealed("!01 ok 5"),
        sealed("<01 ok 5") + b"\r",
        b" " + sealed("<01 ok 5"),
    ],
)
def test_another_answer_is_found(conversation: Write, line: bytes | None) -> None:
    with pytest.raises(ConversationError, match=r"made\.conv:2"):
        run_conversation(conversation("< 01 ok 5"), ScriptedBoard(*([] if line is None else [line])))


def test_words_where_none_belong_are_found(conversation: Write) -> None:
    with pytest.raises(ConversationError, match="expected nothing"):
        run_conversation(conversation("none 20"), ScriptedBoard(b"x"))
    with pytest.raises(ConversationError, match="after the last step"):
        run_conversation(conversation("hand ?"), ScriptedBoard(b"x"))


@pytest.mark.parametrize("frame", [None, b"", b"\x01", b"\x01\x02\x04", b"\x01\x02\x03\x00"])
def test_another_frame_is_found(conversation: Write, frame: bytes | None) -> None:
    with pytest.raises(ConversationError, match="frame"):
        run_conversation(conversation("frame 0 010203"), ScriptedBoard(frame=frame))


def test_frames_as_written() -> None:
    assert expand_frame(["010203x2", "FF000000"]) == bytes.fromhex("010203010203FF000000")


@pytest.mark.parametrize(
    ("text", "match"),
    [
        (f"{BOARD}\nsing la\n", r"made\.conv:2: unknown step 'sing'"),
        ("> 01 id\n", r"made\.conv:1: `board` is the first"),
        (f"{BOARD}\n{BOARD}\n", r"made\.conv:2: `board` is the first"),
        ("# nothing\n", "no `board` step"),
    ],
)
def test_files_that_are_no_conversation(tmp_path: Path, text: str, match: str) -> None:
    path = tmp_path / "made.conv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=match):
        read_conversation(path)
