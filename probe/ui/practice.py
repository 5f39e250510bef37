"""Opens the fault finder from a plan; in a practice round, says what stands in for eyes and meter."""

from __future__ import annotations

from probe.document.model import PlayfieldMap
from probe.faults.explain import reply_words
from probe.faults.knowledge import PICTURE_QUESTION, Who
from probe.faults.search import start, start_practice
from probe.faults.state import Search, SearchMode, Solution
from probe.practice.round import SIGN_WORDS, PracticeRound
from probe.ui.clock import now_text
from probe.ui.faults import FaultScreen
from probe.ui.plan import Plan

_LOOKED_AT = frozenset({Who.EYE, Who.SETTINGS})
_RULER_STEP = 10


def fault_screen(plan: Plan, map_: PlayfieldMap, chain: str) -> FaultScreen:
    """The fault finder on a chain of a map, or on the plan's practice round."""
    practice = plan.practice
    if practice is not None:
        solution = Solution(practice.planted.causes, practice.planted.places)
        reply = practice.answer
        search = start_practice(
            practice.map, chain, solution, lambda asked: reply(asked).answer, steady_only=plan.steady_only
        )
    else:
        search = start(map_, chain, now=now_text(), steady_only=plan.steady_only, paper=plan.paper)
    sight = None if practice is None else PracticeSight(practice, in_words=plan.in_words)
    return FaultScreen(search, dict(plan.changed_keys), plain_ascii=plan.plain_ascii, sight=sight)


class PracticeSight:
    """What one sees and reads in a practice round. Without `in_words` light is for the person to judge."""

    def __init__(self, practice: PracticeRound, *, in_words: bool = True) -> None:
        self._practice = practice
        self._in_words = in_words

    def lines(self, search: Search) -> tuple[str, ...]:
        """A line in words where there are any, then the chain as it is lit, under a ruler."""
        if search.mode in (SearchMode.FINDING, SearchMode.REPAIR, SearchMode.DONE):
            return ()
        words = self._words(search) or (SIGN_WORDS if search.board.here else "")
        signs = self._practice.board.signs()
        label = "Under the glass: "
        ruler = "".join(str(n).ljust(_RULER_STEP) for n in range(0, len(signs), _RULER_STEP))
        beside = "".join(f", {remark}" for remark in self._practice.board.remarks())
        lit = (" " * len(label) + ruler, label + signs + beside) if search.board.here else ()
        return (*((words,) if words else ()), *lit)

    def _words(self, search: Search) -> str:
        question = search.question
        match search.mode:
            case SearchMode.FLEX if search.flex is not None and search.flex.joint is not None:
                return f"You touch it: {'something' if self._practice.reacts(search.flex.joint) else 'nothing'} changes"
            case SearchMode.HALVING | SearchMode.COLOURS:
                return ""
            case SearchMode.LAST_GOOD:
                return f"You see: {self._seen(search, PICTURE_QUESTION)}" if self._in_words else ""
            case SearchMode.QUESTION if question is not None:
                if question.meter:
                    return f"The meter reads: {self._seen(search, question.id)}"
                if question.who in _LOOKED_AT and question.pattern is not None and not self._in_words:
                    return ""
                verb = "You see" if question.who in _LOOKED_AT else "You find"
                return f"{verb}: {self._seen(search, question.id)}"
            case _:
                return ""

    def _seen(self, search: Search, asked: str) -> str:
        reply = self._practice.answer(asked)
        k = self._practice.k
        return reply_words(search.knowledge.observation(asked), answer=reply.answer, typed=reply.typed, k=k)
