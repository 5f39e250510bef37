"""What a person waits for, in one line: what is awaited, how far it is, what to do meanwhile, and how to get out."""

from __future__ import annotations

from probe.runtime.runtime import Work
from probe.task.light import lights_something
from probe.task.task import AnyTask, TaskState
from probe.ui.footer import hints_for

HOW_FAR_AFTER_S = 3.0
NO_BOARD = "Waiting for the board: plug it in. Menu: another port, on paper. Esc: "
"""What Esc is called follows, as in the footer."""


def waiting_words(task: AnyTask, state: TaskState, work: Work | None, *, paper: bool) -> str:
    """The line for this state; empty where nothing is waited for. `paper`: answers are taken without a board."""
    if work is not None:
        return work_words(work)
    if (
        not state.board.here
        and not paper
        and not getattr(state, "paper", False)
        and lights_something(task.light(state))
    ):
        return NO_BOARD + hints_for(task.commands, state, {})[-1].words.lower()
    return ""


def work_words(work: Work) -> str:
    """What takes long: after a while with how far it is; always with what Esc does."""
    far = f", {work.done} of {work.total}" if work.total > 1 else ""
    seconds = f", {work.for_s:.0f} s" if work.for_s >= HOW_FAR_AFTER_S else ""
    way_out = "Esc stops it" if work.can_stop else "Esc goes back"
    return f"{work.words[:1].upper()}{work.words[1:]}{far}{seconds} …   {way_out}"
