"""A task of light played without a board: what it lights, and whether that keeps under the ceilings."""

from __future__ import annotations

from typing import Any

from device_protocol.current import exceeds_ceiling
from device_protocol.values import Colour
from probe.task.effects import Effect as TaskEffect
from probe.task.light import Outputs, Pixels
from tests.support.played import Played


class LitTask(Played[Any]):
    """A task of light, played; keeps the effects of each input apart, and says what is lit."""

    def give(self, *given: object) -> list[TaskEffect]:
        """Give events; returns the effects they had."""
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
