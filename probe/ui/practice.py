"""The fault finder and the practice world put together: neither knows the other."""

from __future__ import annotations

from probe.faults.explain import reply_words
from probe.faults.knowledge import PICTURE_QUESTION, ChainPower, Who
from probe.faults.search import FaultFacts, Hidden
from probe.faults.state import FaultSearch, SearchMode, Solution
from probe.practice.round import SIGN_WORDS, PracticeRound
from probe.ui.launch import LaunchOptions

_LOOKED_AT = frozenset({Who.EYE, Who.SETTINGS})
_RULER_STEP = 10


def fault_facts(options: LaunchOptions) -> FaultFacts:
    """What the fault finder is opened with where nothing lies below it: the chain asked for, and the practice round if any."""
    practice = options.practice
    if practice is None:
        return FaultFacts(options.faults_on, alone=True)
    reply = practice.answer
    hidden = Hidden(
        Solution(practice.planted.causes, practice.planted.places),
        lambda asked: reply(asked).answer,
        PracticeSight(practice, in_words=options.in_words).lines,
    )
    return FaultFacts(options.faults_on, alone=True, hidden=hidden)


def _powered(search: FaultSearch) -> bool:
    """Whether the chain has power: not while it is to be off and unplugged, for a question or for safety."""
    off = search.question is not None and search.question.power is ChainPower.OFF
    return not (off and search.mode is SearchMode.QUESTION) and not search.session.unsafe


class PracticeSight:
    """What one sees and reads in a practice round. Without `in_words` light is for the person to judge, as far as it can be lit."""

    def __init__(self, practice: PracticeRound, *, in_words: bool = True) -> None:
        self._practice = practice
        self._in_words = in_words

    def lines(self, search: FaultSearch) -> tuple[str, ...]:
        """A line in words where there are any, then the chain as it is lit, under a ruler."""
        if search.mode in (SearchMode.FINDING, SearchMode.REPAIR, SearchMode.DONE):
            return ()
        signs = self._practice.board.signs()
        label = "Under the glass: "
        ruler = "".join(str(n).ljust(_RULER_STEP) for n in range(0, len(signs), _RULER_STEP))
        remarks = self._practice.board.remarks()
        beside = (f"Beside it: {', '.join(remarks)}",) if remarks else ()
        lit = (*beside, " " * len(label) + ruler, label + signs) if search.board.here and _powered(search) else ()
        words = self._words(search) or (SIGN_WORDS if lit else "")
        return (*((words,) if words else ()), *lit)

    def _words(self, search: FaultSearch) -> str:
        question = search.question
        in_words = self._in_words or not search.board.here  # a chain that cannot be lit has only words
        match search.mode:
            case SearchMode.FLEX if search.flex is not None and search.flex.joint is not None:
                return f"You touch it: {'something' if self._practice.reacts(search.flex.joint) else 'nothing'} changes"
            case SearchMode.HALVING | SearchMode.COLOURS:
                return ""
            case SearchMode.LAST_GOOD:
                return f"You see: {self._seen(search, PICTURE_QUESTION)}" if in_words else ""
            case SearchMode.QUESTION if question is not None:
                if question.meter:
                    return f"The meter reads: {self._seen(search, question.id)}"
                if question.who in _LOOKED_AT and question.pattern is not None and not in_words:
                    return ""
                verb = "You see" if question.who in _LOOKED_AT else "You find"
                return f"{verb}: {self._seen(search, question.id)}"
            case _:
                return ""

    def _seen(self, search: FaultSearch, asked: str) -> str:
        reply = self._practice.answer(asked)
        k = self._practice.k
        return reply_words(search.knowledge.observation(asked), answer=reply.answer, typed=reply.typed, k=k)
