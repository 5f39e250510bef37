"""Sound boards pass, with every set of features; every clause of the specification has a check."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import device_protocol
from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.orders import FEATURES
from probe.boardcheck import ClauseOutcome
from probe.boardcheck.registry import CHECKS
from tests.boardcheck.talks import checked, failures
from tests.support.examples import first_now

IMAGE = "01010100003021005403E84B00FF00007F000380FFB4400050FF00EF00002800002800"
"""The table of the worked conversation, SPEC section 10."""
SPEC = Path(device_protocol.__file__).with_name("SPEC.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("outputs", first_now([1, 3]))
def test_the_python_board_passes(outputs: int) -> None:
    results = checked(ProtocolBoard(BoardConfig(outputs=outputs)))
    assert failures(results) == {}
    assert sum(r.outcome is ClauseOutcome.PASSED for r in results.values()) > 40


@pytest.mark.parametrize("left_out", first_now(FEATURES, now=3))
def test_a_board_without_a_feature_passes(left_out: str) -> None:
    dropped = {left_out, "play"} if left_out == "table" else {left_out}
    features = tuple(f for f in FEATURES if f not in dropped)
    results = checked(ProtocolBoard(BoardConfig(features=features)))
    assert failures(results) == {}


def test_the_smallest_board_passes() -> None:
    results = checked(ProtocolBoard(BoardConfig(features=(), pixels=50, line=64)))
    assert failures(results) == {}
    assert any(r.outcome is ClauseOutcome.LACKS for r in results.values())


def test_every_clause_of_what_a_board_does_is_a_named_check() -> None:
    """Sections 2 to 8: each numbered clause. Sections 12 to 15 are named where a line can show them, or hinted at."""
    clauses = set(re.findall(r"^(\d+\.\d+) ", SPEC, re.MULTILINE))
    wanted = {c for c in clauses if 2 <= int(c.split(".")[0]) <= 8}
    named = {c.clause for c in CHECKS}
    assert wanted - named == set()
    assert named <= clauses, "no check of a clause that the specification lacks"


def test_what_cannot_be_seen_says_how_to_look() -> None:
    for chosen in CHECKS:
        if chosen.body is None:
            assert len(chosen.hint) > 10, chosen.clause


def test_only_the_clauses_asked_for_run() -> None:
    assert set(checked(ProtocolBoard(), "2.6", "5.4")) == {"2.6", "5.4"}


def test_the_table_in_the_board_is_left_alone() -> None:
    board = ProtocolBoard()
    board.store.commit(bytes.fromhex(IMAGE), 7)
    before = board.store.held
    checked(board)
    assert board.store.held == before
    assert before is not None
