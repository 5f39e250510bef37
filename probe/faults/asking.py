"""What comes next in a fault search: the question, or what was found, and the light that belongs to it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from device_protocol.orders import Identity
from device_protocol.values import Colour as BoardColour
from probe.document.model import Chain
from probe.faults.engine import answered, next_step
from probe.faults.explain import diagnose
from probe.faults.fault_patterns import Running, again, begin
from probe.faults.joint import JointTest, Suspected, next_test, remaining
from probe.faults.knowledge import PICTURE_QUESTION, ChainPower
from probe.faults.state import Search, SearchMode
from probe.patterns.patterns import Pattern, PatternName, pattern
from probe.patterns.pictures import BLUE, GREEN, RED, Colour
from probe.task.steps import Effect, SetUpChain, ShowDark, ShowPixel

MANY_TROUBLES = 3
"""So many orders asked again while pixels are refreshed count as bytes that get lost: judgement."""


def results_at_joint(search: Search) -> dict[JointTest, str]:
    """The joint's tests that have a plain answer."""
    found = {test: search.session.answer_to(test.value) for test in JointTest}
    return {test: answer for test, answer in found.items() if answer is not None}


def next_question(search: Search) -> Search:
    """The search with the question that comes next; in mode FINDING when there is none."""
    knowledge = search.knowledge
    search = replace(
        search,
        mode=SearchMode.QUESTION,
        chosen=0,
        typed="",
        trial=0,
        over="",
        halving=None,
        flex=None,
        diagnosis=diagnose(knowledge, search.session),
    )
    step = next_step(knowledge, search.session)
    search = replace(search, stop=step.stop)
    if search.splitting and not search.session.stopped:
        results = results_at_joint(search)
        skipped = [test for test in JointTest if test not in results and search.session.has(test.value)]
        test = next_test(results, skipped=skipped)
        if test is not None:
            return replace(search, question=knowledge.observation(test.value))
        search = replace(search, splitting=False, message=_left_words(remaining(results)))
    if step.question is None:
        return replace(search, mode=SearchMode.FINDING, question=None, over=step.over)
    return replace(search, question=step.question)


def _left_words(left: tuple[Suspected, ...]) -> str:
    if not left:
        return "The tests at the joint contradict each other: make one of them again (Ctrl+Z goes back)."
    if len(left) == 1:
        return "The tests at the joint leave one fault."
    return f"The tests at the joint leave {len(left)} faults."


def with_tool_facts(search: Search) -> Search:
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


# Light

MORE_PIXELS = 10
FLIP_QUESTION = "settings-flip"
COUNT_QUESTION = "raise-count"
HALVING_COLOUR = BoardColour(0, 32, 0)
ORDERS = ("GRB", "RGB", "BRG", "GBR", "BGR", "RBG")
FOUR_ORDERS = ("GRBW", "RGBW")
_SENT = {"R": RED, "G": GREEN, "B": BLUE, "W": Colour(0, 0, 0, 255)}


def trials(chain: Chain) -> tuple[tuple[str, Chain], ...]:
    """Settings to try one after another, the ones in force first: (what is tried, the chain with it)."""
    own, other = (ORDERS, FOUR_ORDERS) if len(chain.order) == 3 else (FOUR_ORDERS, ORDERS)
    made = [(f"as set: order {chain.order}, pause {chain.latch_us} us", chain)]
    for order in (*(o for o in own if o != chain.order), *other):
        made.append((f"order {order}", chain.model_copy(update={"order": order})))
    if chain.latch_us < 1_000:
        made.append(("pause of 1000 us", chain.model_copy(update={"latch_us": 1_000})))
    return tuple(made)


def tried(search: Search) -> tuple[str, Chain]:
    """The settings being tried now."""
    made = trials(search.here)
    return made[search.trial % len(made)]


def wanted(search: Search) -> Pattern | None:
    """The pattern that belongs to what is asked; None for darkness."""
    question = search.question
    match search.mode:
        case SearchMode.QUESTION if (
            question is not None and question.pattern is not None and question.power is not ChainPower.OFF
        ):
            return pattern(question.pattern.name, dict(question.pattern.arguments))
        case SearchMode.LAST_GOOD:
            return pattern(PatternName.WALK)
        case SearchMode.FLEX if search.flex is not None and search.flex.joint is not None:
            return pattern(search.flex.pattern)
        case SearchMode.SOAK:
            return pattern(PatternName.SOAK)
        case SearchMode.COLOURS if not search.fits and len(search.looks) < len(search.here.order):
            sent = "RGBW"[len(search.looks)]
            return replace(pattern(PatternName.ALL_DIM), colour=_SENT[sent])
        case _:
            return None


def lights(search: Search, now_s: float) -> tuple[Search, tuple[Effect, ...]]:
    """The search with the light that belongs to it, and the effects that make it; darkness where none does."""
    identity = search.board.identity
    before = search.running
    search = replace(search, running=None, lit=None)
    if identity is None:
        return search, ()
    if search.session.stopped:
        return search, (ShowDark(None),)
    number = None if search.halving is None else search.halving.pixel
    if search.mode is SearchMode.HALVING and number is not None:
        return search, (*_restored(search, before), ShowPixel(search.here.output, number, HALVING_COLOUR))
    if search.mode is SearchMode.RETURN:
        return search, ()
    made = wanted(search)
    if made is None:
        return search, (*_restored(search, before), ShowDark(None))
    return _begun(search, made, identity, before, now_s)


def _begun(
    search: Search, made: Pattern, identity: Identity, before: Running | None, now_s: float
) -> tuple[Search, tuple[Effect, ...]]:
    asked = search.question.id if search.question is not None and search.mode is SearchMode.QUESTION else ""
    chain = search.here
    extra = 0
    setting: Sequence[Effect] = _restored(search, before)
    if asked == COUNT_QUESTION:
        extra = MORE_PIXELS
        setting = (SetUpChain(chain, search.length + extra),)
    elif asked == FLIP_QUESTION:
        chain = tried(search)[1]
        setting = (SetUpChain(chain),)
    running, effects = begin(
        made,
        chain,
        identity,
        now_s=now_s,
        steady_only=search.steady_only,
        from_here=search.mode is SearchMode.LAST_GOOD,
        extra=extra,
    )
    running = replace(running, changed=asked in (COUNT_QUESTION, FLIP_QUESTION))
    if before is not None and not before.by_board and not running.by_board:
        running = replace(
            running, limiter=before.limiter
        )  # one limit over all that is shown, not one for each question
        wait_ms = running.limiter.wait_ms(round(now_s * 1000))
        if not wait_ms:
            running = replace(running, limiter=running.limiter.changed(round(now_s * 1000)))
    return replace(search, running=running), (*setting, *effects)


def _restored(search: Search, before: Running | None) -> tuple[Effect, ...]:
    """The chain's own settings again, if the question before had changed them."""
    return (SetUpChain(search.here),) if before is not None and before.changed else ()


def relit(search: Search, now_s: float) -> tuple[Search, tuple[Effect, ...]]:
    """The same light once more."""
    identity = search.board.identity
    if search.running is None or identity is None or search.session.stopped:
        return lights(search, now_s)
    running, effects = again(search.running, identity, now_s)
    return replace(search, running=running, lit=None), effects
