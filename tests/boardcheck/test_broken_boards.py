"""Deliberately broken boards fail, each by the clause it breaks."""

from __future__ import annotations

import pytest

from tests.boardcheck.broken_boards import BROKEN
from tests.boardcheck.talks import checked, failures
from tests.support.examples import first_now


@pytest.mark.parametrize("name", first_now(BROKEN, now=2))
def test_it_fails_by_the_right_clause(name: str) -> None:
    clause, make = BROKEN[name]
    failed = failures(checked(make()))
    assert clause in failed, failed
    # a broken rule may spoil other checks too, but not most of them
    assert len(failed) <= 12 or clause == "3.3", failed
