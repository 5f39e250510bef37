"""Opens the fault finder from a plan; in a practice round, says what stands in for eyes and meter."""

from __future__ import annotations

from probe.document.model import PlayfieldMap
from probe.faults.knowledge import Who
from probe.faults.scene import SIGN_WORDS, Scene
from probe.faults.search import start, start_practice
from probe.faults.search_state import Mode, Search
from probe.ui.clock import now_text
from probe.ui.faults import FaultScreen
from probe.ui.plan import Plan

_LOOKED_AT = frozenset({Who.EYE, Who.SETTINGS})
_RULER_STEP = 10


def fault_screen(plan: Plan, m: PlayfieldMap, chain: str) -> FaultScreen:
    """The fault finder on a chain of a map, or on the plan's practice round."""
    scene = plan.scene
    if scene is not None:
        search = start_practice(scene.map, chain, scene.planted, scene.tool, steady_only=plan.steady_only)
    else:
        search = start(m, chain, now=now_text(), steady_only=plan.steady_only, paper=plan.paper)
    sight = PracticeSight(scene, in_words=plan.in_words) if scene is not None else None
    return FaultScreen(search, dict(plan.changed_keys), plain_ascii=plan.plain_ascii, sight=sight)


class PracticeSight:
    """What one sees and reads in a practice round. Without `in_words` light is for the person to judge."""

    def __init__(self, scene: Scene, *, in_words: bool = True) -> None:
        self._scene = scene
        self._in_words = in_words

    def lines(self, search: Search) -> tuple[str, ...]:
        """A line in words where there are any, then the chain as it is lit, under a ruler."""
        if search.mode in (Mode.FINDING, Mode.REPAIR, Mode.DONE):
            return ()
        words = self._words(search) or (SIGN_WORDS if search.board.here else "")
        signs = self._scene.board.signs()
        label = "Under the glass: "
        ruler = "".join(str(n).ljust(_RULER_STEP) for n in range(0, len(signs), _RULER_STEP))
        beside = "".join(f", {remark}" for remark in self._scene.board.remarks())
        lit = (" " * len(label) + ruler, label + signs + beside) if search.board.here else ()
        return (*((words,) if words else ()), *lit)

    def _words(self, search: Search) -> str:
        question = search.question
        match search.mode:
            case Mode.FLEX if search.flex is not None and search.flex.joint is not None:
                return f"You touch it: {self._scene.reacts(search.flex.joint)}"
            case Mode.HALVING | Mode.COLOURS:
                return ""
            case Mode.LAST_GOOD:
                return f"You see: {self._scene.told('look')}" if self._in_words else ""
            case Mode.QUESTION if question is not None:
                if question.meter:
                    return f"The meter reads: {self._scene.told(question.id)}"
                if question.who in _LOOKED_AT and question.pattern is not None and not self._in_words:
                    return ""
                verb = "You see" if question.who in _LOOKED_AT else "You find"
                return f"{verb}: {self._scene.told(question.id)}"
            case _:
                return ""
