"""A practice round: a simulated board on a model wiring with a planted fault, and what one sees and reads there.

What the board clocks out goes through the model: the chain shows what the pixels make of it, not what was asked for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from device_protocol.board import BoardConfig, SimulatedBoard
from device_protocol.values import DARK, Colour
from probe.document.model import Chain, Kind, PixelState, PlayfieldMap, Position
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.practice.behaviour import Now, SeenChain, SeenPixel, view
from probe.practice.person import Asked, PersonReply, SimulatedPerson
from probe.practice.plant import Planted, plant_any
from probe.practice.wiring import Flex

CEILING_MA = 2_000
CHAIN = "practice"
SIGNS = {
    "": "·",
    "R": "R",
    "G": "G",
    "B": "B",
    "W": "W",
    "GR": "Y",
    "BR": "M",
    "BG": "C",
    "BGR": "W",
}
SIGN_WORDS = "· dark, Y M C mixed, W white, + colour and white, small: tinted, ~ unsteady"


class PracticeBoard(SimulatedBoard):
    """A board whose first output drives the model wiring. It is deaf and dumb when the planted fault is the link."""

    def __init__(self, planted: Planted, *, now_ms: float = 0.0) -> None:
        self._planted = planted
        self._frame = b""
        super().__init__(BoardConfig(outputs=2, pixels=200, ceiling_ma=CEILING_MA), now_ms=now_ms)

    def receive_data(self, data: bytes, now_ms: float) -> bytes:
        reply = super().receive_data(data, now_ms)
        return reply if self._planted.wiring.head.answers else b""

    def tick(self, now_ms: float) -> bytes:
        reply = super().tick(now_ms)
        return reply if self._planted.wiring.head.answers else b""

    def clock_out(self, number: int, frame: bytes) -> None:
        super().clock_out(number, frame)
        if number == 0:
            self._frame = frame

    def view(self) -> SeenChain:
        """What the pixels make of the last frame, with the settings the board has now."""
        wiring = self._planted.wiring
        driven = self.outputs[0].byte_order if self.outputs else wiring.settings.order
        size = len(driven)
        whole = range(0, len(self._frame) - size + 1, size)
        picture = tuple(Colour.from_wire(self._frame[at : at + size], driven) for at in whole)
        latch_us = self.outputs[0].latch_us if self.outputs else wiring.settings.latch_us
        if self._planted.wiring.settings.latch_us < wiring.chips[0].latch_us:
            latch_us = min(latch_us, wiring.settings.latch_us) if latch_us <= 300 else latch_us
        settings = replace(wiring.settings, order=driven, count=len(picture), latch_us=latch_us)
        return view(replace(wiring, settings=settings), picture or (DARK,), Now(warm=wiring.chance > 0.5))

    def signs(self) -> str:
        """What is seen, one sign for each pixel along the wire (`SIGN_WORDS`)."""
        shown = self.view()
        hidden = [chip.hidden for chip in self._planted.wiring.chips]
        return "".join("·" if away else sign(seen) for seen, away in zip(shown.pixels, hidden, strict=True))

    def remarks(self) -> tuple[str, ...]:
        """What is seen beside the pixels themselves."""
        shown = self.view()
        seen = (
            (shown.other_chain_lit, "another chain lights"),
            (shown.restarted, "all goes out and starts over"),
            (shown.pulsing, "the light pulses"),
            (shown.near_white, "it is nearly white"),
        )
        return tuple(words for holds, words in seen if holds)


def sign(seen: SeenPixel) -> str:
    """One sign for what is seen of a pixel: the colours that are at least half as strong as the strongest."""
    if not seen.steady:
        return "~"
    top = max(seen.colour.levels)
    letters = "".join(
        sorted(letter for letter, level in zip("RGBW", seen.colour.levels, strict=True) if level and 2 * level >= top)
    )
    mark = SIGNS.get(letters, "+" if "W" in letters else "·")
    return mark.lower() if seen.tinted else mark


class PracticeRound:
    """A planted fault with its board, its map, and what one would see and measure. The same seed gives the same.

    `weights`: how often each cause is planted, by id. `questions`: all that may be asked.
    """

    def __init__(
        self,
        weights: Sequence[tuple[str, float]],
        questions: Sequence[Asked],
        *,
        seed: int,
        count: int = 50,
        faults: int = 1,
    ) -> None:
        self.seed = seed
        self.planted = plant_any(weights, seed=seed, count=count, faults=faults)
        self.board = PracticeBoard(self.planted)
        self.map = practice_map(self.planted)
        self._questions = {asked.id: asked for asked in questions}
        self._person = SimulatedPerson(self.planted, seed=seed)
        self._replies: dict[str, PersonReply] = {}
        self.answer("look")

    def answer(self, question_id: str) -> PersonReply:
        """What one would answer to that question; the same whenever it is asked. Raises KeyError."""
        if question_id not in self._replies:
            self._replies[question_id] = self._person.answer(self._questions[question_id])
        return self._replies[question_id]

    @property
    def k(self) -> int | None:
        """The last good pixel by the first look, -1 if none, None where there is no edge."""
        return self._person.k

    def reacts(self, joint: int) -> bool:
        """Whether touching the joint that arrives at pixel `joint` changes anything."""
        return self.planted.wiring.joints[joint].flex is not Flex.FIRM

    def lights(self, number: int) -> str:
        """What a single lit number shows."""
        return self.board.signs()[number : number + 1] or "·"


def practice_map(planted: Planted) -> PlayfieldMap:
    """The map a restorer would hold of the planted chain: its settings, and places as the map believes them."""
    wiring = planted.wiring
    settings = wiring.settings
    order = settings.order
    map_ = add_chain(
        new_map("Kelp Forest, practice"),
        Chain(id=CHAIN, name="Practice chain", output=0, order=order, ceiling_ma=CEILING_MA),
    )
    map_ = set_count(map_, CHAIN, settings.count)
    size = map_.machine
    for number in range(settings.count):
        shifted = wiring.shift_from is not None and number >= wiring.shift_from
        spot = number + (wiring.shift if shifted else 0)
        position = Position(
            x_mm=size.width_mm * (0.15 + 0.7 * (spot % 10) / 9), y_mm=size.length_mm * (0.1 + 0.16 * (spot // 10))
        )
        map_, place = add_place(map_, f"Spot {spot}", kind=Kind.INSERT, position=position)
        map_ = assign_place(map_, CHAIN, number, place.id)
    assert all(pixel.state is PixelState.PLACED for pixel in map_.chain(CHAIN).pixels)
    return map_
