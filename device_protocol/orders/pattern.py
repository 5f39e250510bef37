"""What the board does with a chain by its own clock: patterns, and counting by the return wire (SPEC 5.22, 5.23, 5.28)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import ClassVar

from device_protocol.errors import ErrorCode, Refusal
from device_protocol.orders.base import (
    ANY_NUMBER,
    FROM_ONE,
    ArgumentReader,
    Fields,
    OutputOrder,
    Reply,
    check_within,
    exactly,
    read_number,
    read_word,
)
from device_protocol.values import COUNT_TIMES, STEP_MS, Bounds, Colour


class PatternKind(Enum):
    """What the steps of a pattern are (SPEC 5.22)."""

    WHOLE = "all"
    WALK = "walk"

    @property
    def colours(self) -> Bounds:
        """How many colours it takes."""
        return Bounds(1, 1 if self is PatternKind.WALK else 4)


class PatternLine(Enum):
    """What the data line does between frames (SPEC 5.22)."""

    SEND = "send"
    ONCE = "once"
    TURNS = "turns"


class PatternKeep(Enum):
    """Whether the silence rule ends a pattern (SPEC 5.22)."""

    LIVE = "live"
    HOLD = "hold"


@dataclass(frozen=True, slots=True)
class RunPattern(OutputOrder):
    """`run` (SPEC 5.22): steps on the board's own clock. Answered when step 0 is lit."""

    kind: PatternKind
    colours: tuple[Colour, ...]
    step_ms: int = 1_000
    sending: PatternLine = PatternLine.SEND
    keep: PatternKeep = PatternKeep.LIVE
    WORD: ClassVar[str] = "run"
    FEATURE: ClassVar[str | None] = "pattern"
    TAKES: ClassVar[Bounds] = Bounds(6, 9)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.step_ms, STEP_MS, "length of a step in ms")
        check_within(len(self.colours), self.kind.colours, f"colours of the pattern {self.kind.value}")

    def arguments(self) -> Fields:
        words = (self.kind.value, self.sending.value, self.keep.value)
        return (str(self.output), *words, str(self.step_ms), *(colour.text for colour in self.colours))

    @classmethod
    def read(cls, arguments: ArgumentReader) -> RunPattern:
        output, kind = arguments.output(), arguments.word(PatternKind)
        if arguments.left - 3 > kind.colours.most:
            raise Refusal(ErrorCode.ARGUMENT_COUNT)
        sending, keep = arguments.word(PatternLine), arguments.word(PatternKeep)
        step_ms = arguments.number(STEP_MS)
        return cls(output, kind, arguments.colours(output), step_ms, sending, keep)


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternState(Reply):
    """The pattern that runs on an output (SPEC 5.23). `steps_done`: how many steps have ended."""

    kind: PatternKind
    sending: PatternLine
    keep: PatternKeep
    step_ms: int
    steps_done: int


@dataclass(frozen=True, slots=True)
class NoPattern(Reply):
    """No pattern runs on the output (SPEC 5.23)."""

    def fields(self) -> Fields:
        return ("none",)


@dataclass(frozen=True, slots=True)
class ReadPattern(OutputOrder):
    """`running` (SPEC 5.23): the pattern on an output. Reply: PatternState or NoPattern."""

    WORD: ClassVar[str] = "running"
    FEATURE: ClassVar[str | None] = "pattern"

    def parse_reply(self, fields: Fields) -> PatternState | NoPattern:
        if fields == ("none",):
            return NoPattern()
        kind, line, keep, step, done = exactly(fields, "KIND LINE KEEP STEP DONE")
        return PatternState(
            kind=read_word(PatternKind, kind, "kind"),
            sending=read_word(PatternLine, line, "line"),
            keep=read_word(PatternKeep, keep, "keep"),
            step_ms=read_number(step, "step"),
            steps_done=read_number(done, "steps done"),
        )


@dataclass(frozen=True, slots=True)
class ChainCount(Reply):
    """Pixels found by the return wire (SPEC 5.28), least and most; `edges` of the last time."""

    least: int
    most: int
    edges: int


@dataclass(frozen=True, slots=True)
class CountChain(OutputOrder):
    """`count` (SPEC 5.28): finds the length of a chain with a return wire. Its output goes dark. Reply: ChainCount."""

    sent: int
    times: int = 1
    WORD: ClassVar[str] = "count"
    FEATURE: ClassVar[str | None] = "count"
    TAKES: ClassVar[Bounds] = Bounds(3, 3)
    CLOCKS_OUT: ClassVar[bool] = True

    def __post_init__(self) -> None:
        check_within(self.output, ANY_NUMBER, "output")
        check_within(self.sent, FROM_ONE, "pixels sent")
        check_within(self.times, COUNT_TIMES, "times")

    @classmethod
    def read(cls, arguments: ArgumentReader) -> CountChain:
        return cls(arguments.output(), arguments.pixel_count(), arguments.number(COUNT_TIMES))

    def parse_reply(self, fields: Fields) -> ChainCount:
        least, most, edges = exactly(fields, "LEAST MOST EDGES")
        found = read_number(most, "most pixels found", Bounds(0, self.sent))
        return ChainCount(
            read_number(least, "least pixels found", Bounds(0, found)), found, read_number(edges, "edges")
        )
