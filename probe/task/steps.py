"""What pure steps ask for (effects) and what they are told (news), shared by every activity.

An activity is a frozen state and a function `step(state, given, now_s) -> (state, effects)`. Effects are carried out in
order; the next one only when the one before has succeeded. What came of them returns as news.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from device_protocol.errors import ErrorCode
from device_protocol.orders import Identity, Order, Reply
from device_protocol.values import Colour
from probe.document.model import Chain, PlayfieldMap

MOST_UNDO = 500
"""Steps that a person can take back within a session; older ones are in the revisions."""


@dataclass(frozen=True)
class SaveMap:
    """Put the map on disk before anything else happens."""

    map: PlayfieldMap


@dataclass(frozen=True)
class SetUpChain:
    """Tell the board count, byte order, latch time and ceiling of a chain. `count` overrides the map's."""

    chain: Chain
    count: int | None = None


@dataclass(frozen=True)
class ShowPixel:
    """Light one pixel of an output, the rest of it dark."""

    output: int
    number: int
    colour: Colour


@dataclass(frozen=True)
class ShowRange:
    """Light `count` pixels from `first`, the rest of the output dark."""

    output: int
    first: int
    count: int
    colour: Colour


@dataclass(frozen=True)
class ShowPicture:
    """Light a whole chain, one colour a pixel (at most 15 different ones beside dark)."""

    output: int
    colours: tuple[Colour, ...]


@dataclass(frozen=True)
class ShowDark:
    """Make one output dark, or all of them."""

    output: int | None = None


@dataclass(frozen=True)
class RunPattern:
    """Let the board run a pattern by its own clock (SPEC 5.22): steps of `step_ms`, one colour each.

    `walk`: one pixel steps along instead of the whole chain. `line`: `send`, `once` or `turns`. `hold`: the pattern
    outlasts the silence time.
    """

    output: int
    colours: tuple[Colour, ...]
    step_ms: int
    walk: bool = False
    line: str = "send"
    hold: bool = False


@dataclass(frozen=True)
class CountChain:
    """Find a chain's length by its return wire (SPEC 5.28): `sent` pixels clocked out dark, `times` times."""

    output: int
    sent: int
    times: int = 8


@dataclass(frozen=True)
class GiveOrders:
    """Give the board orders one after another; the first that fails ends them. `tag` comes back with the news."""

    orders: tuple[Order, ...]
    tag: str


@dataclass(frozen=True)
class RingBell:
    """Sound the terminal's bell, if the settings allow it."""


@dataclass(frozen=True)
class Think:
    """Reckon something while keys and the screen go on. `job` is a pure function; `tag` names the answer."""

    tag: int
    job: Callable[[], object]


Showing = ShowPixel | ShowRange | ShowPicture | ShowDark | RunPattern
Effect = SaveMap | SetUpChain | RingBell | CountChain | GiveOrders | Think | Showing


@dataclass(frozen=True)
class Shown:
    """The board says that it is lit."""

    what: Showing


@dataclass(frozen=True)
class NotShown:
    """The board refused, or is not there. `why` is a plain sentence."""

    what: Showing | SetUpChain | CountChain
    why: str


@dataclass(frozen=True)
class Counted:
    """What came back on a return wire: least and most pixels found, and edges of the last time."""

    what: CountChain
    least: int
    most: int
    edges: int


@dataclass(frozen=True)
class LineTrouble:
    """An order had to be sent again, or a reply came damaged. It was mended without help."""


@dataclass(frozen=True)
class Answered:
    """The board has carried out every order; a reply for each."""

    tag: str
    replies: tuple[Reply, ...]


@dataclass(frozen=True)
class NotAnswered:
    """The board is not there, or refused an order (`code` is its code then). `why` is a plain sentence.

    `replies` are those to the orders before it.
    """

    tag: str
    why: str
    code: ErrorCode | None = None
    replies: tuple[Reply, ...] = ()


@dataclass(frozen=True)
class InputsTold:
    """The board tells lamp inputs of the game as they are now, from number `first` on."""

    first: int
    on: tuple[bool, ...]


@dataclass(frozen=True)
class GameHasPixels:
    """The board gave the pixels back to the game; what the host lit is gone."""


@dataclass(frozen=True)
class Thought:
    """What a `Think` with that tag came to."""

    tag: int
    result: object


@dataclass(frozen=True)
class Saved:
    """The map is on disk."""


@dataclass(frozen=True)
class NotSaved:
    """The map could not be written. `why` says what to do. It is kept in memory."""

    why: str


@dataclass(frozen=True)
class BoardHere:
    """A board answered. All its outputs are dark."""

    identity: Identity


@dataclass(frozen=True)
class BoardAwaited:
    """No answer yet; `what` says what is awaited."""

    what: str


@dataclass(frozen=True)
class BoardGone:
    """The board is lost. `why` names the likely cause and its cure."""

    why: str


@dataclass(frozen=True)
class BoardDark:
    """The board went dark by itself (the line was silent too long)."""


@dataclass(frozen=True)
class ButtonPressed:
    """The hand-held step button; `times` since the last news of it."""

    times: int = 1


@dataclass(frozen=True)
class Tick:
    """Time has passed: half a second of it, for what blinks."""


News = (
    Shown
    | Thought
    | NotShown
    | Answered
    | NotAnswered
    | InputsTold
    | GameHasPixels
    | Counted
    | LineTrouble
    | Saved
    | NotSaved
    | BoardHere
    | BoardAwaited
    | BoardGone
    | BoardDark
    | ButtonPressed
    | Tick
)


@dataclass(frozen=True)
class BoardView:
    """What a screen may say of the board."""

    identity: Identity | None = None
    words: str = "no board"
    trouble: str = ""
    """Why there is none, with likely cause and cure; stays while the board is looked for."""

    @property
    def here(self) -> bool:
        """Whether a board is there to light pixels."""
        return self.identity is not None


def board_view(view: BoardView, news: News) -> BoardView:
    """The view after some news; the same object if the news says nothing of the board's presence."""
    match news:
        case BoardHere(identity):
            return BoardView(identity, f"{identity.board} {identity.build}")
        case BoardAwaited(what):
            return BoardView(None, what, view.trouble)
        case BoardGone(why):
            return BoardView(None, why, why)
        case _:
            return view
