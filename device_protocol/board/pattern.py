"""A pattern that runs on an output by the board's own clock (SPEC 5.22)."""

from __future__ import annotations

from dataclasses import dataclass

from device_protocol.orders import PatternKeep, PatternKind, PatternLine
from device_protocol.values import DARK, Colour


@dataclass(slots=True)
class RunningPattern:
    """`due_ms`: when the step shown ends; `steps_done`: how many have ended."""

    kind: PatternKind
    sending: PatternLine
    keep: PatternKeep
    step_ms: int
    colours: tuple[Colour, ...]
    due_ms: float
    steps_done: int = 0

    @property
    def holds(self) -> bool:
        """True when the silence rule does not end it."""
        return self.keep is PatternKeep.HOLD

    def pictures(self, count: int) -> list[list[Colour]]:
        """One picture for each need there is: every step of `whole`, any of `walk`."""
        if self.kind is PatternKind.WALK:
            return [self.picture(count, 0)]
        return [self.picture(count, step) for step in range(len(self.colours))]

    def picture(self, count: int, step: int | None = None) -> list[Colour]:
        """The picture of a step on a chain of `count`; of the present one if None."""
        at = self.steps_done if step is None else step
        if self.kind is PatternKind.WHOLE:
            return [self.colours[at % len(self.colours)]] * count
        picture = [DARK] * count
        picture[at % count] = self.colours[0]
        return picture

    @property
    def sends_now(self) -> bool:
        """True while frames are sent again and again."""
        if self.sending is PatternLine.TURNS:
            return self.steps_done % 2 == 0
        return self.sending is PatternLine.SEND

    def fields(self) -> tuple[str, ...]:
        """FIELDS of the reply to `running` (SPEC 5.23)."""
        return (self.kind.value, self.sending.value, self.keep.value, str(self.step_ms), str(self.steps_done))
