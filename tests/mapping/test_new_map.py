"""Setting up a new map: a scripted person answers from what the simulated chains really show."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from device_protocol.board import BoardConfig, ChainWiring, PhysicalPixel, SimulatedBoard
from device_protocol.framing import encode_order
from device_protocol.orders import Identify, Identity
from probe.document.model import Lamp, PlayfieldMap
from probe.mapping.new_map import ENTRY_STAGES, Back, Enter, Key, Pick, Setting, Stage, step
from probe.runtime.orders import setup_orders, showing_orders
from probe.task.steps import (
    BoardGone,
    BoardHere,
    Effect,
    NotSaved,
    SaveMap,
    SetUpChain,
    ShowDark,
    Shown,
    ShowPicture,
    ShowPixel,
    ShowRange,
)


@dataclass
class Bench:
    """A board with chains, and the state of the set-up; effects are carried out at once."""

    board: SimulatedBoard
    state: Setting = field(default_factory=Setting)
    saved: PlayfieldMap | None = None
    questions: int = 0
    clock_ms: float = 1.0
    identity: Identity | None = None

    def order(self, order: object) -> bytes:
        self.clock_ms += 1
        return self.board.receive_data(encode_order(order.line(1)), self.clock_ms)  # type: ignore[attr-defined]

    def greet(self) -> None:
        for raw in self.order(Identify()).decode().splitlines():
            if raw.startswith("<01 ok proto="):
                self.identity = Identify().parse_reply(tuple(raw.split("*")[0].split(" ")[2:]))
        assert self.identity is not None
        self.give(BoardHere(self.identity))

    def give(self, given: Key | object) -> None:
        self.state, effects = step(self.state, given, 0.0)  # type: ignore[arg-type]
        for effect in effects:
            self.carry_out(effect)

    def carry_out(self, effect: Effect) -> None:
        assert self.identity is not None or isinstance(effect, SaveMap)
        match effect:
            case SaveMap(m):
                self.saved = m
            case SetUpChain() if self.identity is not None:
                for order in setup_orders(effect, self.identity):
                    assert b"ok" in self.order(order)
            case ShowPixel() | ShowRange() | ShowPicture() | ShowDark() if self.identity is not None:
                for order in showing_orders(effect, self.identity):
                    assert b"ok" in self.order(order)
                self.give(Shown(effect))
            case _:
                pass

    def colours(self) -> list[str]:
        words = []
        for output in range(self.board.config.outputs):
            for c in self.board.shown(output):
                letters = "".join(x for x, v in zip("RGBW", (c.red, c.green, c.blue, c.white), strict=True) if v)
                words.append(letters)
        return words

    def answer(self, know_count: int | None = None) -> None:
        """One answer of a person who looks at the chains."""
        self.questions += 1
        colours = self.colours()
        lit = [c for c in colours if c]
        match self.state.stage:
            case Stage.MACHINE:
                self.give(Enter("Kelp Forest"))
            case Stage.CHAIN | Stage.COUNT_SEARCH:
                self.give(Pick(0 if lit else 1))
            case Stage.ORDER:
                stretch = self.board.shown(self.state.output)
                seen = {
                    "".join(x for x, v in zip("RGBW", (c.red, c.green, c.blue, c.white), strict=True) if v)
                    for c in stretch[:8]
                }
                single = {"R": 0, "G": 1, "B": 2, "W": 3, "": 5}
                self.give(Pick(single.get(next(iter(seen)), 4) if len(seen) == 1 else 4))
            case Stage.COUNT:
                self.give(Pick(0 if know_count else 1))
            case Stage.COUNT_ENTRY:
                self.give(Enter(str(know_count)))
            case Stage.NAME | Stage.CEILING:
                self.give(Enter(self.state.suggestion))
            case _:
                raise AssertionError(self.state.stage)


def bench(*chains: tuple[int, str], features: tuple[str, ...] | None = None) -> Bench:
    wirings = [
        ChainWiring(tuple(PhysicalPixel(f"{c}-{n}", order) for n in range(count)))
        for c, (count, order) in enumerate(chains)
    ]
    config = BoardConfig(outputs=len(chains), pixels=500)
    if features is not None:
        config = BoardConfig(outputs=len(chains), pixels=500, features=features)
    made = Bench(SimulatedBoard(config, wirings))
    made.greet()
    return made


def stage_of(made: Bench) -> Stage:
    return made.state.stage


def finish(made: Bench, know_count: int | None = None) -> PlayfieldMap:
    while made.state.stage is not Stage.DONE:
        made.answer(know_count)
        assert made.questions < 80
    assert made.saved is not None
    return made.saved


@pytest.mark.parametrize("order", ["GRB", "RGB", "BGR", "GRBW", "RGBW"])
def test_a_chain_of_any_order_is_found_and_counted(order: str) -> None:
    m = finish(bench((84, order)))
    (chain,) = m.chains
    assert (chain.order, chain.count, chain.output) == (order, 84, 0)
    assert len(chain.pixels) == 84


def test_who_cannot_tell_the_colours_goes_on_with_the_usual_order() -> None:
    made = bench((20, "RGB"))
    while stage_of(made) is not Stage.ORDER:
        made.answer()
    for _ in range(3):
        made.give(Pick(4))  # several colours, whatever is shown: fits no order
    assert stage_of(made) is Stage.ORDER
    made.give(Pick(len(made.state.choices) - 1))
    assert stage_of(made) is Stage.COUNT
    assert finish(made).chains[0].order == "GRB"


def test_two_chains_and_a_known_count() -> None:
    m = finish(bench((30, "GRB"), (30, "RGB")), know_count=30)
    assert [(c.order, c.count, c.output) for c in m.chains] == [("GRB", 30, 0), ("RGB", 30, 1)]
    assert len({c.id for c in m.chains}) == 2


def test_an_output_without_a_chain_is_passed_over() -> None:
    m = finish(bench((0, "GRB"), (12, "GRB")))
    assert [c.output for c in m.chains] == [1]


def test_nothing_on_any_output_asks_again() -> None:
    made = bench((0, "GRB"), (0, "GRB"))
    for _ in range(3):
        made.answer()
    assert made.state.stage is Stage.CHAIN
    assert made.state.output == 0
    assert "check power" in made.state.message


def test_a_board_with_the_smallest_feature_set_is_asked_only_what_it_can_show() -> None:
    made = bench((20, "GRB"), features=())
    m = finish(made)
    assert m.chains[0].count == 20


def test_wrong_entries_are_refused_with_words() -> None:
    made = bench((20, "GRB"))
    made.give(Enter("   "))
    assert stage_of(made) is Stage.MACHINE
    assert made.state.message
    made.answer()
    while stage_of(made) is not Stage.COUNT:
        made.answer()
    made.give(Pick(0))
    for text in ("", "0", "501", "-3", "many"):
        made.give(Enter(text))
        assert stage_of(made) is Stage.COUNT_ENTRY
        assert "1 to 500" in made.state.message
    made.give(Back())
    assert stage_of(made) is Stage.CHAIN


def test_answers_wait_for_the_light() -> None:
    made = bench((20, "GRB"))
    made.answer()
    made.state, _ = step(made.state, BoardGone("the plug was pulled"), 0.0)
    made.give(Pick(0))
    assert stage_of(made) is Stage.CHAIN
    assert "not lit" in made.state.message
    made.greet()
    made.give(Pick(0))
    assert stage_of(made) is Stage.ORDER


def test_on_paper_only_name_and_count_are_asked() -> None:
    state = Setting(paper=True, lamps=(Lamp(number=1, name="Reef lane 1"),))
    for text in ("Kelp Forest", "12", "Playfield", "450"):
        assert state.stage in ENTRY_STAGES
        state, effects = step(state, Enter(text), 0.0)
    assert state.stage is Stage.DONE
    assert state.map is not None
    assert state.map.chains[0].count == 12
    assert state.map.lamps[0].name == "Reef lane 1"
    assert isinstance(effects[0], SaveMap)


def test_a_map_that_cannot_be_saved_says_so() -> None:
    state, _ = step(Setting(), NotSaved("the disk is full"), 0.0)
    assert state.message == "the disk is full"
