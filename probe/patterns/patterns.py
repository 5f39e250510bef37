"""Test patterns: pure functions from a pattern and a time to a picture, for the board's own clock or key by key.

A pattern is a row of equally long steps that repeats or, at its end, holds. The line between frames matters too: it
sends all the time, sends one frame and then rests low (evidence of a lost frame or a power dip stays for the eye), or
rests low altogether.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

from device_protocol.values import DARK, Colour
from probe.patterns.flash import SHORTEST_STEP_MS
from probe.patterns.pictures import BLUE, GREEN, RED, WHITE, Picture, level_under_ceiling, single, whole

DIM_LEVEL = 12
LOAD_SHARES = (0.05, 0.25, 0.5, 1.0)
OUTPUT_COLOURS = (RED, BLUE, GREEN, Colour(255, 176, 0))
NUMBER_COLOURS = (RED, GREEN, BLUE, Colour(255, 176, 0), Colour(0, 255, 255), Colour(255, 0, 255), WHITE)


class DataLine(StrEnum):
    """What the data line does during a step."""

    SENDING = "sending"
    ONCE = "once"
    LOW = "low"


class Advance(StrEnum):
    """What moves a pattern on: the board's clock or the person's key."""

    CLOCK = "clock"
    KEY = "key"


class PatternName(StrEnum):
    """The patterns there are."""

    ALL_DARK = "all-dark"
    ALL_DIM = "all-dim"
    THREE_COLOURS = "three-colours"
    TOUR = "tour"
    WALK = "walk"
    LOAD_STEPS = "load-steps"
    SEND_IDLE = "send-idle"
    HOLD_ONE = "hold-one"
    MARCH = "march"
    SOAK = "soak"
    ALL_OUTPUTS = "all-outputs"
    ALL_NUMBERS = "all-numbers"


class PatternError(ValueError):
    """A pattern that cannot be made. The text says which part and what is expected."""


@dataclass(frozen=True, kw_only=True)
class PatternChain:
    """What a pattern has to know of the chain and its board. Currents as the board states them."""

    count: int
    output: int = 0
    ceiling_ma: int = 450
    channel_ua: int = 20_000
    idle_ua: int = 1_000

    def __post_init__(self) -> None:
        if self.count < 1:
            raise PatternError(f"a chain has at least one pixel, not {self.count}")


@dataclass(frozen=True, kw_only=True)
class Pattern:
    """One pattern. `level`: of one colour, 1 to 255; `colour`: for patterns in one colour; `step_ms`: length of a step;
    `repeats`: starts over at its end, otherwise its last step holds."""

    name: PatternName
    level: int = DIM_LEVEL
    colour: Colour = RED
    step_ms: int = 1_000
    repeats: bool = True
    advance: Advance = Advance.CLOCK

    def __post_init__(self) -> None:
        if not 1 <= self.level <= 255:
            raise PatternError(f"{self.name}: level {self.level} is not from 1 to 255")
        if self.step_ms < 1:
            raise PatternError(f"{self.name}: a step lasts at least 1 ms, not {self.step_ms}")


@dataclass(frozen=True)
class Frame:
    """One step: what is shown and what the line does."""

    picture: Picture
    line: DataLine


_DEFAULTS: dict[PatternName, Pattern] = {
    PatternName.ALL_DARK: Pattern(name=PatternName.ALL_DARK, repeats=False),
    PatternName.ALL_DIM: Pattern(name=PatternName.ALL_DIM, repeats=False),
    PatternName.THREE_COLOURS: Pattern(name=PatternName.THREE_COLOURS, step_ms=2_000),
    PatternName.TOUR: Pattern(name=PatternName.TOUR, step_ms=1_500),
    PatternName.WALK: Pattern(name=PatternName.WALK, level=32, colour=WHITE, step_ms=400),
    PatternName.LOAD_STEPS: Pattern(name=PatternName.LOAD_STEPS, colour=WHITE, step_ms=1_000),
    PatternName.SEND_IDLE: Pattern(name=PatternName.SEND_IDLE, step_ms=3_000),
    PatternName.HOLD_ONE: Pattern(name=PatternName.HOLD_ONE, colour=GREEN, repeats=False),
    PatternName.MARCH: Pattern(name=PatternName.MARCH, step_ms=1_000),
    PatternName.SOAK: Pattern(name=PatternName.SOAK, colour=WHITE, step_ms=30_000),
    PatternName.ALL_OUTPUTS: Pattern(name=PatternName.ALL_OUTPUTS, repeats=False),
    PatternName.ALL_NUMBERS: Pattern(name=PatternName.ALL_NUMBERS, repeats=False),
}

HOLDS_THROUGH_SILENCE = frozenset({PatternName.HOLD_ONE, PatternName.MARCH, PatternName.SOAK, PatternName.SEND_IDLE})
"""Patterns whose use is that nobody sends orders meanwhile: they need the board's leave to outlast its silence time."""

_COLOUR_NAMES = {"red": RED, "green": GREEN, "blue": BLUE, "white": WHITE}


def pattern(name: str, arguments: Mapping[str, str] | None = None) -> Pattern:
    """A pattern by name, with arguments `level`, `step_ms`, `colour` (red, green, blue, white or RRGGBB).

    Raises PatternError for an unknown name, argument or value.
    """
    try:
        made = _DEFAULTS[PatternName(name)]
    except ValueError:
        raise PatternError(f"there is no pattern {name!r}; there are {', '.join(PatternName)}") from None
    for key, value in (arguments or {}).items():
        if key in ("level", "step_ms"):
            if not value.isdecimal():
                raise PatternError(f"{name}, {key}: {value!r} is not a whole number")
            made = replace(made, level=int(value)) if key == "level" else replace(made, step_ms=int(value))
        elif key == "colour":
            made = replace(made, colour=_colour(name, value))
        else:
            raise PatternError(f"{name}: there is no argument {key!r}; there are level, step_ms, colour")
    return limited(made)


def _colour(name: str, text: str) -> Colour:
    if text in _COLOUR_NAMES:
        return _COLOUR_NAMES[text]
    try:
        red, green, blue = bytes.fromhex(text)
    except ValueError:
        raise PatternError(f"{name}, colour: {text!r} is none of {', '.join(_COLOUR_NAMES)} nor RRGGBB") from None
    return Colour(red, green, blue)


def limited(made: Pattern) -> Pattern:
    """The pattern, slowed down if its steps would flash more than 3 times a second."""
    return made if made.step_ms >= SHORTEST_STEP_MS else replace(made, step_ms=SHORTEST_STEP_MS)


def steady(made: Pattern) -> Pattern:
    """The "steady only" form: nothing changes by itself; the person's key moves it on. The soak rests at one colour.

    The send/idle pattern keeps its clock: it shows no light at all.
    """
    if made.name is PatternName.SEND_IDLE:
        return made
    if made.name is PatternName.SOAK:
        return replace(made, repeats=False, advance=Advance.KEY)
    return replace(made, advance=Advance.KEY)


def steps(made: Pattern, chain: PatternChain) -> int:
    """Number of steps before the pattern repeats or holds."""
    match made.name:
        case PatternName.THREE_COLOURS | PatternName.MARCH:
            return 3
        case PatternName.TOUR | PatternName.LOAD_STEPS | PatternName.SOAK:
            return 4
        case PatternName.WALK:
            return chain.count
        case PatternName.SEND_IDLE:
            return 2
        case _:
            return 1


def frame(made: Pattern, chain: PatternChain, step: int) -> Frame:
    """The frame of a step, counted from 0 without end, never above the ceiling. Raises PatternError below 0."""
    if step < 0:
        raise PatternError(f"{made.name}: step {step} is below 0")
    total = steps(made, chain)
    at = step % total if made.repeats else min(step, total - 1)
    count = chain.count
    match made.name:
        case PatternName.ALL_DARK:
            return Frame(whole(DARK, count), DataLine.SENDING)
        case PatternName.THREE_COLOURS | PatternName.MARCH:
            return Frame(whole(_safe((RED, GREEN, BLUE)[at], made.level, chain), count), DataLine.SENDING)
        case PatternName.TOUR:
            if at == 3:
                return Frame(whole(_loaded(WHITE, 1.0, chain), count), DataLine.SENDING)
            return Frame(whole(_safe((RED, GREEN, BLUE)[at], made.level, chain), count), DataLine.SENDING)
        case PatternName.WALK:
            return Frame(single(at, _safe(made.colour, made.level, chain, lit=1), count), DataLine.SENDING)
        case PatternName.LOAD_STEPS:
            return Frame(whole(_loaded(made.colour, LOAD_SHARES[at], chain), count), DataLine.SENDING)
        case PatternName.SEND_IDLE:
            return Frame(whole(DARK, count), DataLine.SENDING if at == 0 else DataLine.LOW)
        case PatternName.HOLD_ONE:
            return Frame(whole(_safe(made.colour, made.level, chain), count), DataLine.ONCE)
        case PatternName.SOAK:
            return Frame(whole(_loaded((made.colour, RED, GREEN, BLUE)[at], 1.0, chain), count), DataLine.SENDING)
        case PatternName.ALL_OUTPUTS:
            colour = OUTPUT_COLOURS[chain.output % len(OUTPUT_COLOURS)]
            return Frame(whole(_safe(colour, made.level, chain), count), DataLine.SENDING)
        case PatternName.ALL_NUMBERS:
            dim = tuple(_safe(colour, made.level, chain) for colour in NUMBER_COLOURS)
            return Frame(tuple(dim[number % len(dim)] for number in range(count)), DataLine.SENDING)
        case _:
            return Frame(whole(_safe(made.colour, made.level, chain), count), DataLine.SENDING)


def _most(colour: Colour, chain: PatternChain, *, lit: int | None = None, share: float = 1.0) -> int:
    return level_under_ceiling(
        colour,
        count=chain.count,
        lit=lit,
        ceiling_ma=chain.ceiling_ma,
        channel_ua=chain.channel_ua,
        idle_ua=chain.idle_ua,
        share=share,
    )


def _safe(colour: Colour, level: int, chain: PatternChain, *, lit: int | None = None) -> Colour:
    return colour.at(min(level, _most(colour, chain, lit=lit)))


def _loaded(colour: Colour, share: float, chain: PatternChain) -> Colour:
    return colour.at(_most(colour, chain, share=share))


def step_at(made: Pattern, *, at_ms: int) -> int:
    """The step shown `at_ms` after the start, by the clock. Raises PatternError for key-driven patterns and below 0."""
    if made.advance is Advance.KEY:
        raise PatternError(f"{made.name} waits for a key: its step is counted, not timed")
    if at_ms < 0:
        raise PatternError(f"{made.name}: {at_ms} ms is before its start")
    return at_ms // made.step_ms
