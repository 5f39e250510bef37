"""A board for steps that are tested without one: it shows whatever it is asked, and says so."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from device_protocol.current import exceeds_ceiling
from device_protocol.values import Colour
from probe.task.effects import Effect as TaskEffect
from probe.task.light import Outputs, Pixels
from probe.task.steps import BoardHere, Effect, ShowDark, Shown, ShowPicture
from tests.support.boards import identity
from tests.support.played import Played

Step = Callable[[Any, Any, float], tuple[Any, tuple[Effect, ...]]]


class Player:
    """Plays inputs to a step, carries effects out at once, and keeps what was saved and shown."""

    def __init__(self, step: Step, state: Any, *, ceiling_ma: int = 2_000, board: bool = True) -> None:
        self.step, self.state = step, state
        self.identity = identity(ceiling_ma=ceiling_ma)
        self.effects: list[Effect] = []
        self.showing: dict[int, tuple[Colour, ...]] = {}
        if board:
            self.give(BoardHere(self.identity))

    def give(self, *given: object) -> list[Effect]:
        """Give inputs; returns the effects they had."""
        found: list[Effect] = []
        for each in given:
            self.state, effects = self.step(self.state, each, 0.0)
            found += effects
            self._carry_out(effects)
        self.effects += found
        return found

    def _carry_out(self, effects: Iterable[Effect]) -> None:
        for effect in effects:
            match effect:
                case ShowPicture(output, colours):
                    self.showing[output] = colours
                case ShowDark(None):
                    self.showing.clear()
                case ShowDark(output):
                    self.showing.pop(output or 0, None)
                case _:
                    continue
            self.state, more = self.step(self.state, Shown(effect), 0.0)
            assert not more

    def lit(self, output: int) -> dict[int, Colour]:
        """Numbers that are lit on an output, with their duty."""
        return {at: colour for at, colour in enumerate(self.showing.get(output, ())) if not colour.is_dark}

    def within_ceiling(self, chain_ceilings: dict[int, int]) -> bool:
        """Whether everything that is shown keeps under the board's and the chains' ceilings."""
        return not any(
            exceeds_ceiling(
                colours,
                idle_ua=self.identity.idle_ua,
                channel_ua=self.identity.channel_ua,
                ceiling_ma=min(self.identity.ceiling_ma, chain_ceilings.get(output, 10**6)),
            )
            for output, colours in self.showing.items()
        )


class LitTask(Played[Any]):
    """A task of light, played; keeps the effects of each input apart, and says what is lit."""

    def give(self, *given: object) -> list[TaskEffect]:
        """Give inputs; returns the effects they had."""
        before = len(self.effects)
        self(*given)
        return self.effects[before:]

    @property
    def _parts(self) -> dict[int, Pixels]:
        match self.board.lit:
            case Pixels() as part:
                return {part.output: part}
            case Outputs(parts):
                return {part.output: part for part in parts}
            case _:
                return {}

    def lit(self, output: int) -> dict[int, Colour]:
        """Numbers that are lit on an output, with their duty."""
        part = self._parts.get(output)
        if part is None:
            return {}
        return {part.first + at: colour for at, colour in enumerate(part.colours) if not colour.is_dark}

    def within_ceiling(self, chain_ceilings: dict[int, int]) -> bool:
        """Whether everything that is lit keeps under the board's and the chains' ceilings."""
        board = self.board.identity
        return board is None or not any(
            exceeds_ceiling(
                part.colours,
                idle_ua=board.idle_ua,
                channel_ua=board.channel_ua,
                ceiling_ma=min(board.ceiling_ma, chain_ceilings.get(output, 10**6)),
            )
            for output, part in self._parts.items()
        )
