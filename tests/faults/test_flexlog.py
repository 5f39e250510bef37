"""The flex test's prompts and notes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.faults.flexlog import FlexLog, joint_name, meaning


def test_joint_by_joint_from_the_board_outwards() -> None:
    log = FlexLog(count=3)
    assert log.prompt == "Joint board to 0 (1st): 5 seconds. Change? y/n"
    log = log.answered(False).answered(True, "all after 1 went dark").answered(None)
    assert log.joint is None
    assert log.prompt == "All joints touched."
    assert log.notes() == (
        "flex test (hold-one): joints board to 0 (1st) to 1 (2nd) to 2 (3rd), 1 reacted, 1 passed over",
        "flex test (hold-one): joint 0 (1st) to 1 (2nd) reacted: all after 1 went dark",
    )


@given(st.integers(1, 40), st.lists(st.sampled_from([True, False, None, "back"]), max_size=80))
def test_any_run_keeps_its_place(count: int, inputs: list[bool | str | None]) -> None:
    log, done = FlexLog(count=count), 0
    for given_input in inputs:
        if given_input == "back":
            log, done = log.back(), max(0, done - 1)
        elif log.joint is not None:
            assert not isinstance(given_input, str)
            log, done = log.answered(given_input), done + 1
        assert log.joint == (done if done < count else None)
    assert len(log.notes()) == (1 + len(log.changed) if done else 0)


def test_it_can_start_anywhere_and_refuses_joints_that_are_not_there() -> None:
    assert FlexLog(count=5, first=3).answered(True).changed[0].joint == 3
    with pytest.raises(ValueError, match="joint 5"):
        FlexLog(count=5, first=5)
    with pytest.raises(ValueError, match="done"):
        FlexLog(count=1).answered(True).answered(True)


def test_what_a_change_means_depends_on_the_pattern() -> None:
    assert "plus or GND" in meaning("hold-one", "dark")
    assert "data" in meaning("march", "lags")
    assert meaning("walk", "lags") == ""
    assert joint_name(15) == "14 (15th) to 15 (16th)"
