"""The footer of every task in every state that the contract's events lead to: at most six, Esc last, nothing cut at 80 columns."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from probe.task.command import Means
from probe.task.task import AnyTask
from probe.ui.app import MAKERS
from probe.ui.footer import GAP, KeyHint, fitted, hints_for
from probe.ui.keys import all_keys, key_name
from tests.runtime.contract_tasks import TASKS
from tests.runtime.test_contract import Opening, bench
from tests.support.examples import first_now

__all__ = ["bench"]
COLUMNS = 80


def hold(task: AnyTask, state: object) -> None:
    """What holds of a footer, and that a key does one thing."""
    acting = [key for row in task.commands if row.when is None or row.when(state) for key in row.keys]
    assert len(set(acting)) == len(acting)
    hints = hints_for(task.commands, state, {})
    shown = fitted(hints, COLUMNS)
    keys = [hint.key for hint in shown]
    assert len(shown) <= 6
    assert keys[-1] == "Esc"
    assert "F10" in keys, "the menu is always there"
    assert len(set(keys)) == len(keys)
    assert sum(hint.cells + GAP for hint in shown) - GAP <= COLUMNS
    own = [hint for hint in hints if hint.action.startswith(("command", "picker"))]
    assert [hint for hint in own if hint not in shown] == [], "nothing of the task's own is left out"
    meanings: Mapping[str, Means] = {key_name(key): means for means in Means for key in means.keys}
    rows = {row.id: row for row in all_keys()}
    for hint in shown:
        name = hint.action.partition("'")[2].partition("'")[0]
        expected = rows[name].means if name in rows else Means[name]
        assert meanings[hint.key] is expected, hint


@pytest.mark.parametrize("name", first_now(list(TASKS), now=8))
async def test_every_state_that_is_played(name: str, bench: Opening) -> None:
    made = await bench(name)
    seen = 0

    def look() -> None:
        nonlocal seen
        top = made.runtime.top
        if top is not None and top.name in MAKERS:
            state: Any = made.runtime.seen(top)
            hold(top.task, state)
            seen += 1

    look()
    for event in made.played.events(made.runtime, lambda: made.state):
        made.runtime.dispatch(event)
        await made.settled()
        look()
    assert seen > 2


def test_a_narrow_screen_keeps_the_way_back() -> None:
    from probe.mapping.walk import WalkTask

    for width in (79, 40, 20, 10):
        shown = fitted(hints_for(WalkTask.commands, None, {}), width)
        assert shown[-1].key == "Esc"


def test_a_wide_screen_shows_six_and_no_more() -> None:
    many = [KeyHint(f"F{number}", "words", "") for number in range(1, 13)]
    shown = fitted([*many, KeyHint("Esc", "Back", "")], 400)
    assert [hint.key for hint in shown] == ["F1", "F2", "F3", "F4", "F5", "Esc"]
    assert len(fitted(many, 400)) == 6
