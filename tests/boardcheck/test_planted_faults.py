"""Every planted fault is found by the clause it breaks; nearly all other clauses still pass."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ProtocolBoard
from tests.boardcheck.planted import FAULTS, OUTPUTS
from tests.boardcheck.talks import checked, failures


def test_there_are_enough() -> None:
    assert len(FAULTS) >= 120
    assert len({fault.clause for fault in FAULTS.values()}) >= 35


def test_the_board_without_a_fault_passes() -> None:
    assert failures(checked(ProtocolBoard(BoardConfig(outputs=OUTPUTS)), table=True)) == {}


def _each_clause_now() -> list[object]:
    """One fault of each clause at every turn, the others with what is slow."""
    seen: set[str] = set()
    rows: list[object] = []
    for name, fault in FAULTS.items():
        rows.append(pytest.param(name, marks=pytest.mark.slow) if fault.clause in seen else name)
        seen.add(fault.clause)
    return rows


@pytest.mark.parametrize("name", _each_clause_now())
def test_it_is_found(name: str) -> None:
    fault = FAULTS[name]
    failed = failures(checked(fault.make(), table=fault.table))
    assert fault.clause in failed, failed
    assert len(failed) <= 25, failed
