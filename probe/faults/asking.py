"""What comes next in a fault search: the question, or what was found."""

from __future__ import annotations

from dataclasses import replace

from probe.faults.engine import answered, next_step
from probe.faults.explain import diagnose, hand_over
from probe.faults.joint import JointTest, Suspected, next_test, remaining
from probe.faults.knowledge import PICTURE_QUESTION
from probe.faults.state import FaultSearch, SearchMode

ONCE_MORE = "once more, because much rests on this answer: look or measure afresh"
MANY_TROUBLES = 3
"""So many orders asked again while pixels are refreshed count as bytes that get lost: judgement."""


def results_at_joint(search: FaultSearch) -> dict[JointTest, str]:
    """The joint's tests that have a plain answer."""
    found = {test: search.session.answer_to(test.value) for test in JointTest}
    return {test: answer for test, answer in found.items() if answer is not None}


def next_question(search: FaultSearch) -> FaultSearch:
    """The search with the question that comes next; in mode FINDING when there is none."""
    knowledge = search.knowledge
    search = replace(
        search,
        mode=SearchMode.QUESTION,
        chosen=0,
        typed="",
        trial=0,
        over="",
        handed_over=(),
        halving=None,
        flex=None,
        diagnosis=diagnose(knowledge, search.session),
    )
    step = next_step(knowledge, search.session)
    search = replace(search, stop=step.stop)
    if search.splitting and not search.session.unsafe:
        results = results_at_joint(search)
        skipped = [test for test in JointTest if test not in results and search.session.has(test.value)]
        test = next_test(results, skipped=skipped)
        if test is not None:
            return replace(search, question=knowledge.observation(test.value))
        search = replace(search, splitting=False, message=_left_words(remaining(results)))
    if step.question is None:
        left = hand_over(knowledge, search.session)
        return replace(search, mode=SearchMode.FINDING, question=None, over=step.over, handed_over=left)
    if step.again:
        return replace(search, question=step.question, message=ONCE_MORE)
    return replace(search, question=step.question)


def _left_words(left: tuple[Suspected, ...]) -> str:
    if not left:
        return "The tests at the joint contradict each other: make one of them again (Ctrl+Z goes back)."
    if len(left) == 1:
        return "The tests at the joint leave one fault."
    return f"The tests at the joint leave {len(left)} faults."


def with_tool_facts(search: FaultSearch) -> FaultSearch:
    """What the program sees for itself: whether the board answers, restarted, or loses bytes.

    Nothing of it in a practice round, whose facts are the model's, and nothing on paper.
    """
    if search.solution is not None or search.paper:
        return search
    facts = {"link-answers": "yes" if search.board.here else "no"}
    if search.board.here and search.session.has(PICTURE_QUESTION):
        facts["replies-damaged"] = "yes" if search.troubles >= MANY_TROUBLES else "no"
        if search.session.answer_to("restarted") != "yes":
            facts["restarted"] = "no"
    session = search.session
    for name, answer in facts.items():
        session = answered(search.knowledge, session, observation=name, answer=answer, by_tool=True)
    return replace(search, session=session)
