"""Every planted fault is found by the clause it breaks; nearly all other clauses still pass."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ProtocolBoard
from tests.boardcheck.planted import FAULTS, OUTPUTS
from tests.boardcheck.talks import checked, failures
from tests.support.examples import first_now


def test_there_are_enough() -> None:
    assert len(FAULTS) >= 120
    assert len({fault.clause for fault in FAULTS.values()}) >= 35


@pytest.mark.slow
def test_the_board_without_a_fault_passes() -> None:
    assert failures(checked(ProtocolBoard(BoardConfig(outputs=OUTPUTS)), table=True)) == {}


@pytest.mark.parametrize("name", first_now(FAULTS, now=8))
def test_it_is_found(name: str) -> None:
    fault = FAULTS[name]
    failed = failures(checked(fault.make(), table=fault.table))
    assert fault.clause in failed, failed
    assert len(failed) <= 25, failed
