"""Which number is at this place? The person looks at one place and says its colour; four colours quarter what is left.

`Locate` is the search itself: each look lights all numbers that are still possible in four colours by quarter. ⌈log4 N⌉
looks are enough for N numbers and, with every colour told apart, no fewer can be. "Not sure" repeats the same split in
other colours, "dark" says that no candidate is there; numbers that are out stay dark. A board without pictures halves
with a range instead: ⌈log2 N⌉. A place that is dark though its number was kept says that an answer was wrong, or that no
pixel of this chain is there. The map is not changed, so undo goes back over answers only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto

from device_protocol.values import Colour
from probe.document.model import Chain, PlayfieldMap, shown_number
from probe.document.plural import many
from probe.inference.entropy import questions_needed
from probe.recheck.colours import LOOK_COLOURS, START_LEVEL, colours_words, legend, level_beside, light_of, look_spots
from probe.recheck.engine import UNLIT
from probe.recheck.engine.model import COLOURS
from probe.recheck.keys import FIND, Quick, SayColour, SayQuick
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Dark, Light, OutputSetup, Pixels
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, PictureView, TaskView

WHITE = 3
"""The look colour of what is lit without a picture."""


@dataclass(frozen=True, kw_only=True)
class Locate:
    """State of one search.  candidates: numbers that could be at the place.  unsure: "not sure" answers in a row."""

    candidates: tuple[int, ...]
    numbers: int
    looks: int = 0
    unsure: int = 0

    @staticmethod
    def start(numbers: int, *, candidates: Sequence[int] | None = None) -> Locate:
        """All numbers 0..numbers-1, or only the candidates given.  Raises ValueError when there is none."""
        chosen = tuple(range(numbers)) if candidates is None else tuple(dict.fromkeys(candidates))
        if not chosen or min(chosen) < 0 or max(chosen) >= numbers:
            raise ValueError(f"candidates are numbers 0..{numbers - 1}, and there is at least one")
        return Locate(candidates=chosen, numbers=numbers)

    @property
    def found(self) -> int | None:
        """The number, when only one is left."""
        return self.candidates[0] if len(self.candidates) == 1 else None

    @property
    def lost(self) -> bool:
        """No candidate is left: the place is lit by none of them."""
        return not self.candidates

    @property
    def looks_left(self) -> int:
        """Looks still needed when every answer is sure."""
        return questions_needed(candidates=max(1, len(self.candidates)), answers_per_question=COLOURS)

    def _group(self, at: int) -> int:
        """Quarter of the candidate at this index; sizes differ by one at most."""
        return at * COLOURS // len(self.candidates)

    def frame(self) -> tuple[int, ...]:
        """Colours for all numbers: 0..3 by quarter of the candidates, UNLIT for all others."""
        colours = [UNLIT] * self.numbers
        for at, number in enumerate(self.candidates):
            colours[number] = (self._group(at) + self.unsure) % COLOURS
        return tuple(colours)

    def answered(self, colour: int | None) -> Locate:
        """The next state.  colour: 0..3 as seen, UNLIT for dark, None for not sure.

        Raises ValueError for a colour that is not in use.
        """
        if colour is None:
            return replace(self, looks=self.looks + 1, unsure=self.unsure + 1)
        if colour != UNLIT and not 0 <= colour < COLOURS:
            raise ValueError(f"a look has colours 0..{COLOURS - 1} or dark, not {colour}")
        frame = self.frame()
        left = () if colour == UNLIT else tuple(n for n in self.candidates if frame[n] == colour)
        return replace(self, candidates=left, looks=self.looks + 1, unsure=0)


class Split(Enum):
    """How a look tells candidates apart."""

    COLOURS = auto()
    RANGE = auto()
    NONE = auto()


@dataclass(frozen=True, kw_only=True)
class NumberSearch(TaskState):
    """The whole state. `search` knows which numbers are left."""

    chain: str
    search: Locate
    chosen: int = 0
    level: int = START_LEVEL
    plain_ascii: bool = False
    past: tuple[NumberSearch, ...] = ()

    @property
    def here(self) -> Chain:
        """The chain that is searched."""
        return self.map.chain(self.chain)

    @property
    def candidates(self) -> tuple[int, ...]:
        """The numbers that are left."""
        return self.search.candidates

    @property
    def looks(self) -> int:
        """Looks so far."""
        return self.search.looks

    @property
    def split(self) -> Split:
        """What the board can show."""
        if not self.board.here or self.board.has("paint"):
            return Split.COLOURS
        return Split.RANGE if self.board.has("range") else Split.NONE

    @property
    def found(self) -> int | None:
        """The number at the place, once there is only one."""
        return self.search.found

    @property
    def answers(self) -> tuple[int, ...]:
        """Colours to choose from: those that are lit, then UNLIT."""
        if self.found is not None:
            return ()
        return (*sorted(set(self.colours().values())), UNLIT)

    @property
    def left(self) -> int:
        """Looks that are still needed at most."""
        ways = len(LOOK_COLOURS) if self.split is Split.COLOURS else 2
        return questions_needed(candidates=max(1, len(self.candidates)), answers_per_question=ways)

    def colours(self) -> dict[int, int]:
        """The colour of each number that is lit now."""
        if self.split is Split.COLOURS:
            frame = self.search.frame()
            return {number: frame[number] for number in self.candidates}
        return dict.fromkeys(self.candidates[: (len(self.candidates) + 1) // 2], WHITE)

    @property
    def light(self) -> Light:
        """The numbers that are left, by quarter in four colours or half of them; the one that is found, alone."""
        output = self.here.output
        setup = OutputSetup.of(self.here, count=self.search.numbers)
        white = Colour(self.level, self.level, self.level)
        if self.found is not None:
            return Pixels.one(output, self.found, white, setup=setup)
        if self.split is Split.NONE:
            return Dark()
        if self.split is Split.RANGE:
            colours = self.colours()
            return Pixels.run(output, min(colours), len(colours), white, setup=setup)
        return Pixels(output, 0, light_of(self.search.frame(), self.level), setup)

    @property
    def is_lit(self) -> bool:
        """Whether the board has said that it shows what is asked about."""
        return self.board.here and self.board.lit == self.light and self.light != Dark()


_N = Next[NumberSearch]


class FindTask(Task[NumberSearch]):
    """Find the number at a place."""

    name = "find"
    commands = FIND
    own_revision = False

    def begin(self, s: NumberSearch, now_s: float) -> _N:
        """As many numbers as the board that is there can light."""
        del now_s
        return _fitted(s), ()

    def step(self, s: NumberSearch, event: object, now_s: float) -> _N | None:
        """The state after an event, and what is to be done."""
        del now_s
        match event:
            case ev.Choose(by):
                size = max(1, len(s.answers))
                return replace(s, chosen=max(0, min(size - 1, s.chosen + by))), ()
            case ev.Take():
                if s.found is not None:
                    return s, (fx.Close((s.chain, s.found)),)
                return _answer(s, s.answers[s.chosen]) if s.answers else (s, ())
            case SayColour(number):
                if number not in s.answers:
                    return s, ()
                return _answer(replace(s, chosen=s.answers.index(number)), number)
            case SayQuick(Quick.NOTHING_LIT):
                return _answer(s, UNLIT)
            case SayQuick(Quick.NOT_SURE):
                return _not_sure(s)
            case ev.NextChain():
                ids = [chain.id for chain in s.map.chains]
                following = ids[(ids.index(s.chain) + 1) % len(ids)]
                return _fresh(replace(s, chain=following, past=(), message="")), ()
            case ev.ChangeLevel(by):
                level = level_beside(s.level, by)
                return replace(s, level=level, message=f"level {level} of 255"), ()
            case ev.Undo():
                return _undo(s)
            case ev.Redo():
                return replace(s, message="nothing to do again: answer anew"), (fx.Bell(),)
            case ev.MapChanged(words):
                chain = s.chain if s.chain in s.map.chain_by_id else s.map.chains[0].id
                return _fresh(replace(s, chain=chain, past=(), message=words)), ()
            case ev.BoardChanged():
                return (s if s.past else _fitted(s)), ()
            case _:
                return None

    def light(self, s: NumberSearch) -> Light:
        """The numbers that are left, in colours; the one that is found, alone."""
        return s.light

    def view(self, s: NumberSearch) -> TaskView:
        """The question, the colours, the picture, and how many looks are left."""
        return view(s)


def make(opened: Opened) -> tuple[FindTask, NumberSearch]:
    """The search on a chain; the facts are the chain and number of whoever opens it. Raises KeyError for an unknown chain."""
    assert opened.map is not None, "the search is opened with a map"
    match opened.facts:
        case (str() as chain, int()):
            pass
        case _:
            chain = opened.map.chains[0].id
    return FindTask(), replace(start(opened.map, chain), plain_ascii=opened.plain_ascii)


def start(map_: PlayfieldMap, chain: str, *, level: int = START_LEVEL) -> NumberSearch:
    """Nothing asked yet. Raises KeyError for an unknown chain."""
    search = Locate.start(max(1, map_.chain(chain).length))
    return NumberSearch(map=map_, chain=chain, search=search, level=level)


def _reach(s: NumberSearch) -> int:
    """How many numbers there may be: the chain's, or of an open chain what the board can light."""
    length, identity = s.here.length, s.board.identity
    if identity is not None:
        length = min(length or identity.pixels, identity.pixels)
    return max(1, length)


def _fresh(s: NumberSearch) -> NumberSearch:
    return replace(s, search=Locate.start(_reach(s)), chosen=0)


def _fitted(s: NumberSearch) -> NumberSearch:
    """With as many numbers as the board that is there can light."""
    return s if s.search.numbers == _reach(s) else _fresh(s)


def _refused(s: NumberSearch) -> str:
    """Why an answer does not count now; empty if it does."""
    if s.split is Split.NONE:
        return "this board lights one pixel at a time only: step through the chain on the walk"
    if s.is_lit:
        return ""
    if not s.board.here:
        return "no board, so nothing is lit"
    return s.board.refused or "it is not lit yet: wait for it, then answer"


def _answer(s: NumberSearch, colour: int) -> _N:
    if why := _refused(s):
        return replace(s, message=why), (fx.Bell(),)
    if s.found is not None:
        if colour != UNLIT:
            return s, ()
        again = _fresh(replace(s, past=(*s.past, s)))
        return replace(again, message="then an answer was wrong: once more from the start"), ()
    after = replace(s, search=_narrowed(s, colour), chosen=0, message="", past=(*s.past, s))
    if not after.search.lost:
        return after, ()
    words = "then an answer was wrong: once more from the start"
    if s.looks == 0:
        words = f"no pixel of {s.here.name} is there, or it gives no light"
    return replace(_fresh(after), message=words), ()


def _narrowed(s: NumberSearch, colour: int) -> Locate:
    if s.split is Split.COLOURS:
        return s.search.answered(colour)
    lit = s.colours()
    kept = tuple(n for n in s.candidates if (n in lit) == (colour != UNLIT))
    return replace(s.search, candidates=kept, looks=s.looks + 1)


def _not_sure(s: NumberSearch) -> _N:
    """The same question with the colours handed on by one; a range is asked again as it is."""
    if why := _refused(s):
        return replace(s, message=why), (fx.Bell(),)
    turned = replace(s, search=s.search.answered(None), past=(*s.past, s))
    return replace(turned, message="once more, in other colours" if s.split is Split.COLOURS else "again"), ()


def _undo(s: NumberSearch) -> _N:
    if not s.past:
        return replace(s, message="nothing to undo"), (fx.Bell(),)
    back = replace(s.past[-1], map=s.map, board=s.board, unsaved=s.unsaved, level=s.level, message="undone")
    return back, ()


# -- what is to be seen -----------------------------------------------------------------------------------------------


def found_words(s: NumberSearch) -> str:
    """What is known of the number that was found."""
    if s.found is None:
        return ""
    pixels = s.here.pixels
    pixel = pixels[s.found] if s.found < len(pixels) else None
    place = s.map.place_of(pixel) if pixel is not None else None
    known = f"the map says {place.label}" if place is not None else "the map has no place for it"
    if pixel is not None and place is None and pixel.state.value != "unseen":
        known = f"the map says {pixel.state.value}"
    return f"pixel {shown_number(s.found)} of {s.here.name}; {known}"


def view(s: NumberSearch) -> TaskView:
    """The question, the colours, the picture, and how many looks are left."""
    question = "Look at the place whose number you want. What does it show?"
    looks = f"look {s.looks + 1}, at most {s.left} to go"
    if s.found is not None:
        question = "There it is: it is lit alone now. Enter walks on from here."
        looks = many(s.looks, "look")
    left = many(len(s.candidates), "number")
    return TaskView(
        head=f"Find a number · {s.map.machine.name} · {s.here.name} (output {s.here.output})",
        board=s.board.words,
        above=(
            Line(question, "bold", wrap=True),
            Line("● LIT" if s.is_lit else "○ not lit yet" if s.board.here else "○ no board"),
        ),
        items=tuple(Line(_words(s, colour)) for colour in s.answers),
        chosen=s.chosen,
        empty=(Line(found_words(s), "bold", wrap=True),) if s.found is not None else (),
        message=s.message or s.board.refused,
        unsaved=s.unsaved,
        progress=f" {looks} · {left} left",
        picture=_picture(s),
    )


def _words(s: NumberSearch, colour: int) -> str:
    if s.split is Split.COLOURS:
        return colours_words((colour,), plain_ascii=s.plain_ascii)
    return "dark" if colour == UNLIT else "lit"


def _picture(s: NumberSearch) -> PictureView:
    shown: dict[str, list[int]] = {}
    lit = s.colours() if s.found is None else {s.found: WHITE}
    for number, colour in lit.items():
        if number < len(s.here.pixels):
            place = s.here.pixels[number].place
            if place is not None:
                shown.setdefault(place, []).append(colour)
    return PictureView(
        look_spots(s.map, shown, plain_ascii=s.plain_ascii),
        legend=legend(plain_ascii=s.plain_ascii) if s.found is None else "",
        seen_on_request=True,
    )
