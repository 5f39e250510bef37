"""What should be lit, as a value: a task returns it, the runtime keeps it true.

Two equal values are the same light. A light never holds how it got there: no order, no retry, no set-up.
"""

from __future__ import annotations

from device_protocol.values import Colour
from probe.document.model import Chain
from probe.frozen import frozen


@frozen
class OutputSetup:
    """How an output is driven: pixels counted, byte order, ceiling in mA, pause between frames in µs."""

    count: int
    order: str
    ceiling_ma: int
    latch_us: int

    @classmethod
    def of(cls, chain: Chain, *, count: int | None = None) -> OutputSetup:
        """As a chain of the map has it; `count` stands in for its own."""
        return cls(count or chain.length, chain.order, chain.ceiling_ma, chain.latch_us)


@frozen
class Dark:
    """Every output dark."""


@frozen
class Pixels:
    """Pixels of one output in these colours, from number `first` on; the rest of it, and every other output, dark.

    The runtime dims them evenly where the output's ceiling asks for it. `setup`: how the output is driven meanwhile, where
    that is not what the map holds.
    """

    output: int
    first: int
    colours: tuple[Colour, ...]
    setup: OutputSetup | None = None

    @classmethod
    def one(cls, output: int, number: int, colour: Colour, *, setup: OutputSetup | None = None) -> Pixels:
        """A single pixel."""
        return cls(output, number, (colour,), setup)

    @classmethod
    def run(cls, output: int, first: int, count: int, colour: Colour, *, setup: OutputSetup | None = None) -> Pixels:
        """A run of `count` pixels in one colour. A board without `range` lights the first of them."""
        return cls(output, first, (colour,) * count, setup)

    @property
    def is_dark(self) -> bool:
        """Whether nothing of it lights."""
        return all(colour.is_dark for colour in self.colours)


@frozen
class Outputs:
    """Pixels of several outputs at once; outputs not named are dark."""

    parts: tuple[Pixels, ...]


@frozen
class BoardPattern:
    """A pattern that the board runs by its own clock (SPEC 5.22): steps of `step_ms`, one colour each.

    `walk`: one pixel steps along instead of the whole chain. `line`: `send`, `once` or `turns`. `hold`: the pattern
    outlasts the silence time. `start` makes "from its beginning, once more" another value.
    """

    output: int
    colours: tuple[Colour, ...]
    step_ms: int
    walk: bool = False
    line: str = "send"
    hold: bool = False
    setup: OutputSetup | None = None
    start: int = 0


Still = Dark | Pixels | Outputs


@frozen
class Alternate:
    """Two pictures in turn, each for `half_s` seconds (0.17 at least). Lit once both have been confirmed."""

    a: Still
    b: Still
    half_s: float = 0.5


@frozen
class ByTable:
    """The pixels of a lamp, or of a group, lit by the board from its own table (SPEC 5.20, 5.21)."""

    lamp: int | None = None
    group: int | None = None


@frozen
class Game:
    """The game has the pixels: the board lights what the game asks for (SPEC 13)."""


@frozen
class HandsOff:
    """Nothing is ordered and nothing is believed lit: somebody else is at the board (a count, a check of it)."""


@frozen
class AsBelow:
    """The light of the task below stays: for a task that only shows something."""


Light = Dark | Pixels | Outputs | BoardPattern | Alternate | ByTable | Game | HandsOff | AsBelow
"""What a task may want to be lit."""


def lights_something(light: Light) -> bool:
    """Whether any order for it may light a pixel: such an order waits until every answer is on disk."""
    match light:
        case Dark() | HandsOff() | AsBelow():
            return False
        case Pixels():
            return not light.is_dark
        case Outputs(parts):
            return any(not part.is_dark for part in parts)
        case Alternate(a, b):
            return lights_something(a) or lights_something(b)
        case BoardPattern(colours=colours):
            return any(not colour.is_dark for colour in colours)
        case ByTable() | Game():
            return True
