"""SPEC.md against the program: the table of codes, the worked conversation, the features."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest

import device_protocol
from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.board.handlers import HANDLERS
from device_protocol.errors import ErrorCode
from device_protocol.orders import FEATURES, ORDER_TYPES

FOLDER = Path(device_protocol.__file__).parent
SPEC = (FOLDER / "SPEC.md").read_text(encoding="utf-8")
EXCHANGE_MS = 12
"""Board's time from one order to the next in the worked conversation."""


def _section(number: int) -> str:
    found = re.search(rf"^## {number}\. .*?(?=^## |\Z)", SPEC, re.MULTILINE | re.DOTALL)
    assert found is not None
    return found[0]


def _rows(text: str) -> list[list[str]]:
    rows = [line.strip("|").split("|") for line in text.splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in row] for row in rows[2:]]


def test_codes_are_the_same_in_spec_csv_and_program() -> None:
    in_spec = {int(row[0]): row[1] for row in _rows(_section(8))}
    with (FOLDER / "error_codes.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    in_csv = {int(row["code"]): row["name"] for row in rows}
    assert len(rows) == len(in_csv), "a code stands twice in error_codes.csv"
    assert all(row["when"] and row["host"] for row in rows)
    assert in_spec == in_csv == {int(code): code.word for code in ErrorCode}


def test_identity_keys_stand_in_the_order_of_the_table() -> None:
    keys = [row[0] for row in _rows(_section(5))]
    assert [field.split("=")[0] for field in ProtocolBoard().identity().fields()] == keys


def test_every_order_of_the_spec_is_known_to_both_sides() -> None:
    defined = set(re.findall(r"^5\.\d+ `([a-z]+)\b", _section(5), re.MULTILINE))
    assert defined == set(ORDER_TYPES)
    assert set(HANDLERS) == set(ORDER_TYPES.values())


def test_features_stand_in_the_order_of_the_spec() -> None:
    first = _section(6).split("6.2")[0]
    assert tuple(re.findall(r"`([a-z]+)` \(", first)) == FEATURES


def _lines(text: str) -> list[str]:
    return [line[4:] for line in text.splitlines() if line.startswith("    ")]


def _bytes(text: str) -> bytes:
    return text.replace("\\t", "\t").encode() + b"\n"


def test_every_order_notice_and_error_has_an_example() -> None:
    ours = [line[3:].strip() for line in _lines(_section(10)) if line.startswith("H ")]
    theirs = [line[3:].strip() for line in _lines(_section(10)) if line.startswith("B ")]
    assert {re.split(r"[ *]", line)[1] for line in ours if line.startswith(">") and "  " not in line} >= set(
        ORDER_TYPES
    )
    notices = set(re.findall(r"^7\.\d+ `([a-z]+)\b", _section(7), re.MULTILINE))
    assert len(notices) == 5
    assert {re.split(r"[ *]", line)[1] for line in theirs if line.startswith("~")} == notices
    assert {int(line[4:6]) for line in theirs if line.startswith("!")} == set(ErrorCode)


def test_lines_of_other_boards_are_what_such_boards_say() -> None:
    few, waiting, failing, deaf = boards = [
        ProtocolBoard(BoardConfig(features=FEATURES[:3])),
        *(ProtocolBoard() for _ in range(3)),
    ]
    for board in boards:
        board.tick(0)
    waiting.not_ready = failing.failing = True
    deaf.mark_lost_bytes()
    block = [line for line in _lines(_section(10).split("### ")[1]) if not line.startswith("--")]
    for board, ours, theirs in zip((few, waiting, failing, deaf), block[::2], block[1::2], strict=True):
        assert ours.startswith("H  ")
        assert board.receive_data(_bytes(ours[3:]), 1) == _bytes(theirs.removeprefix("B  "))


def test_worked_conversation_is_what_a_board_says() -> None:
    config = BoardConfig(board="example", outputs=2, pixels=300, line=96, ceiling_ma=1500)
    board = ProtocolBoard(config)
    now_ms = 0
    said: list[str] = []
    block = _lines(_section(10).split("### ")[0])
    assert len(block) > 40
    for line in block:
        kind, text = line[:2], line[3:].strip()
        if kind == "B ":
            assert said, f"the board says nothing where the page has {text!r}"
            assert said.pop(0) == text
        else:
            assert not said, f"before {line!r} the board also said {said}"
        if kind == "H ":
            now_ms += EXCHANGE_MS
            said += board.receive_data(_bytes(text), now_ms).decode().splitlines()
        elif kind == "--" and (passed := re.match(r"(\d+) ms pass", text)):
            now_ms += int(passed[1])
            said += board.tick(now_ms).decode().splitlines()
        elif kind == "--" and "power-up" in text:
            said += board.tick(now_ms).decode().splitlines()
        elif kind == "--" and "button" in text:
            said += board.press_button(now_ms).decode().splitlines()
        elif kind not in ("B ", "--"):
            pytest.fail(f"line of another kind: {line!r}")
    assert not said
