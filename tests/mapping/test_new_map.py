"""Setting up a new map: a scripted person answers from what the simulated chains really show."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ChainWiring, PhysicalPixel, SimulatedBoard
from device_protocol.framing import encode_order
from device_protocol.orders import Darken, Identify, Identity
from probe.document.document import Document
from probe.document.model import Lamp, PlayfieldMap
from probe.mapping.new_map import ENTRY_STAGES, Again, GoOnOnPaper, Setting, SetupFacts, SetupStage, SetupTask
from probe.runtime.light_orders import part_orders, parts_of, setup_for, setup_order
from probe.task import effects as fx
from probe.task.events import Choose, Leave, Take, TakeRow, Typed, Undo
from probe.task.light import Pixels
from probe.task.views import TaskView
from tests.support.examples import first_now
from tests.support.played import Played


class Bench(Played[Setting]):
    """A board with chains, and the set-up; what should be lit is lit on them at once."""

    def __init__(self, device: SimulatedBoard) -> None:
        self.device = device
        self.questions = 0
        self.clock_ms = 1.0
        super().__init__(SetupTask(), Setting(), document=Document.in_memory())

    def order(self, order: object) -> bytes:
        self.clock_ms += 1
        return self.device.receive_data(encode_order(order.line(1)), self.clock_ms)  # type: ignore[attr-defined]

    def greet(self) -> None:
        identity: Identity | None = None
        for raw in self.order(Identify()).decode().splitlines():
            if raw.startswith("<01 ok proto="):
                identity = Identify().parse_reply(tuple(raw.split("*")[0].split(" ")[2:]))
        assert identity is not None
        self.plug(identity)

    def _confirm(self) -> bool:
        identity, wanted = self.board.identity, self.wanted
        if identity is None or self.board.lit == wanted:
            return False
        assert not isinstance(wanted, Pixels) or wanted.setup is not None
        assert b"ok" in self.order(Darken())
        for output, part in parts_of(wanted).items():  # type: ignore[arg-type]
            setup = setup_for(output, None, identity, part)
            orders = [*([setup_order(output, setup)] if setup is not None else []), *part_orders(part, identity, setup)]
            for order in orders:
                assert b"ok" in self.order(order)
        return super()._confirm()

    def pick(self, index: int) -> None:
        self(Choose(index - self.state.chosen), Take())

    def enter(self, text: str) -> None:
        self(Typed(text), Take())

    def colours(self) -> list[str]:
        words = []
        for output in range(self.device.config.outputs):
            for c in self.device.shown(output):
                letters = "".join(x for x, v in zip("RGBW", (c.red, c.green, c.blue, c.white), strict=True) if v)
                words.append(letters)
        return words

    def reply(self, know_count: int | None = None) -> None:
        """One answer of a person who looks at the chains."""
        self.questions += 1
        colours = self.colours()
        lit = [c for c in colours if c]
        match self.state.stage:
            case SetupStage.MACHINE:
                self.enter("Kelp Forest")
            case SetupStage.CHAIN | SetupStage.COUNT_SEARCH:
                self.pick(0 if lit else 1)
            case SetupStage.ORDER:
                stretch = self.device.shown(self.state.output)
                seen = {
                    "".join(x for x, v in zip("RGBW", (c.red, c.green, c.blue, c.white), strict=True) if v)
                    for c in stretch[:8]
                }
                single = {"R": 0, "G": 1, "B": 2, "W": 3, "": 5}
                self.pick(single.get(next(iter(seen)), 4) if len(seen) == 1 else 4)
            case SetupStage.COUNT:
                self.pick(0 if know_count else 1)
            case SetupStage.COUNT_ENTRY:
                self.enter(str(know_count))
            case SetupStage.NAME | SetupStage.CEILING:
                self(Take())
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


def stage_of(made: Played[Setting]) -> SetupStage:
    return made.state.stage


def finish(made: Bench, know_count: int | None = None) -> PlayfieldMap:
    while made.state.stage is not SetupStage.DONE:
        made.reply(know_count)
        assert made.questions < 80
    assert made.closed[-1] == "walk"
    return made.map


@pytest.mark.parametrize("order", first_now(["GRB", "RGB", "BGR", "GRBW", "RGBW"], now=3))
def test_a_chain_of_any_order_is_found_and_counted(order: str) -> None:
    map_ = finish(bench((84, order)))
    (chain,) = map_.chains
    assert (chain.order, chain.count, chain.output) == (order, 84, 0)
    assert len(chain.pixels) == 84


def test_who_cannot_tell_the_colours_goes_on_with_the_usual_order() -> None:
    made = bench((20, "RGB"))
    while stage_of(made) is not SetupStage.ORDER:
        made.reply()
    for _ in range(3):
        made.pick(4)  # several colours, whatever is shown: fits no order
    assert stage_of(made) is SetupStage.ORDER
    made.pick(len(made.state.choices) - 1)
    assert stage_of(made) is SetupStage.COUNT
    assert finish(made).chains[0].order == "GRB"


def test_two_chains_and_a_known_count() -> None:
    map_ = finish(bench((30, "GRB"), (30, "RGB")), know_count=30)
    assert [(c.order, c.count, c.output) for c in map_.chains] == [("GRB", 30, 0), ("RGB", 30, 1)]
    assert len({c.id for c in map_.chains}) == 2


def test_an_output_without_a_chain_is_passed_over() -> None:
    map_ = finish(bench((0, "GRB"), (12, "GRB")))
    assert [c.output for c in map_.chains] == [1]


def test_nothing_on_any_output_asks_again() -> None:
    made = bench((0, "GRB"), (0, "GRB"))
    for _ in range(3):
        made.reply()
    assert made.state.stage is SetupStage.CHAIN
    assert made.state.output == 0
    assert "check power" in made.state.message


def test_a_board_with_the_smallest_feature_set_is_asked_only_what_it_can_show() -> None:
    made = bench((20, "GRB"), features=())
    map_ = finish(made)
    assert map_.chains[0].count == 20


def test_wrong_entries_are_refused_with_words() -> None:
    made = bench((20, "GRB"))
    made.enter("   ")
    assert stage_of(made) is SetupStage.MACHINE
    assert made.state.message
    made.reply()
    while stage_of(made) is not SetupStage.COUNT:
        made.reply()
    made.pick(0)
    for text in ("", "0", "501", "-3", "many"):
        made.enter(text)
        assert stage_of(made) is SetupStage.COUNT_ENTRY
        assert "1 to 500" in made.state.message
    made(Again())
    assert stage_of(made) is SetupStage.CHAIN


def test_answers_wait_for_the_light() -> None:
    made = bench((20, "GRB"))
    made.reply()
    made.lose("the plug was pulled")
    made.pick(0)
    assert stage_of(made) is SetupStage.CHAIN
    assert "not lit" in made.state.message
    made.greet()
    made.pick(0)
    assert stage_of(made) is SetupStage.ORDER


@pytest.mark.slow
def test_undo_takes_the_last_chain_back_and_asks_for_its_output_again() -> None:
    made = bench((6, "GRB"), (7, "GRB"), (8, "GRB"))
    while made.state.output < 2:
        made.reply()
    made(Undo())
    assert [chain.output for chain in made.map.chains] == [0]
    assert (made.state.output, stage_of(made)) == (1, SetupStage.CHAIN)
    assert [chain.count for chain in finish(made).chains] == [6, 7, 8]


def test_a_board_lost_while_a_chain_is_named_goes_on_with_the_next_output() -> None:
    made = bench((6, "GRB"), (7, "GRB"))
    while stage_of(made) is not SetupStage.CEILING:
        made.reply()
    made.lose("the plug was pulled")
    made.enter("")
    assert [chain.output for chain in made.map.chains] == [0]
    made.greet()
    assert (made.state.output, stage_of(made)) == (1, SetupStage.CHAIN)
    assert [chain.output for chain in finish(made).chains] == [0, 1]


def test_on_paper_only_name_and_count_are_asked() -> None:
    facts = SetupFacts(lamps=(Lamp(number=1, name="Reef lane 1"),))
    made = Played(SetupTask(), Setting(paper=True, facts=facts), document=Document.in_memory())
    for text in ("Kelp Forest", "12", "Playfield", "450"):
        assert made.state.stage in ENTRY_STAGES
        made(Typed(text), Take())
    assert made.state.stage is SetupStage.DONE
    assert made.map.chains[0].count == 12
    assert made.map.lamps[0].name == "Reef lane 1"
    assert isinstance(made.effects[-2], fx.Commit)
    assert made.closed == ["walk"]


def test_outputs_are_dark_between_questions() -> None:
    made = bench((20, "GRB"))
    made.reply()
    while stage_of(made) is not SetupStage.COUNT:
        made.reply()
    assert not any(made.colours())


def test_light_is_spoken_of_only_where_something_shall_light() -> None:
    made = bench((9, "GRB"))
    said = {}
    while made.state.stage is not SetupStage.NAME:
        said[made.state.stage] = "lit" in made.task.view(made.state).board
        made.reply(9)
    assert said[SetupStage.CHAIN]
    assert said[SetupStage.ORDER]
    assert not said[SetupStage.COUNT], "all is dark while the count is asked"


def test_every_question_has_one_step_back() -> None:
    made = bench((20, "RGB"))
    seen = []
    while stage_of(made) is not SetupStage.CEILING:
        seen.append((stage_of(made), made.wanted))
        made.reply()
    while seen:
        made(Leave())
        assert (stage_of(made), made.wanted) == seen.pop()
    assert finish(made).chains[0].order == "RGB"


def test_a_step_back_over_a_kept_chain_loses_nothing_and_may_answer_otherwise() -> None:
    made = bench((6, "GRB"), (7, "GRB"), (8, "GRB"))
    while made.state.output < 2:
        made.reply()
    made(Leave())
    assert (made.state.output, stage_of(made)) == (1, SetupStage.CEILING)
    assert [chain.output for chain in made.map.chains] == [0, 1]
    made.enter("300")
    assert [(c.output, c.ceiling_ma) for c in made.map.chains] == [(0, 450), (1, 300)]
    assert [chain.count for chain in finish(made).chains] == [6, 7, 8]


def test_esc_empties_what_is_typed_first() -> None:
    made = bench((6, "GRB"))
    made(Typed("Kelp"), Leave())
    assert (stage_of(made), made.state.typed) == (SetupStage.MACHINE, "")


def test_a_chain_like_the_last_is_asked_its_count_and_name_only() -> None:
    made = bench((6, "RGB"), (7, "RGB"))
    while stage_of(made) is not SetupStage.CEILING:
        made.reply()
    made.enter("321")
    made(TakeRow(2))
    assert stage_of(made) is SetupStage.COUNT
    made.reply(know_count=7)
    made.reply(know_count=7)
    made.reply()
    assert [(c.order, c.count, c.ceiling_ma) for c in made.map.chains] == [("RGB", 6, 321), ("RGB", 7, 321)]
    assert stage_of(made) is SetupStage.DONE


def test_digits_and_letters_stand_beside_their_rows() -> None:
    made = bench((6, "GRB"))
    made.reply()
    view = made.task.view(made.state)
    assert isinstance(view, TaskView)
    assert [line.text[0] for line in view.items] == ["Y", "N"]
    made(TakeRow(0))
    view = made.task.view(made.state)
    assert isinstance(view, TaskView)
    assert [line.text[0] for line in view.items] == list("1234567")


def test_on_paper_without_a_board_from_any_question() -> None:
    facts = SetupFacts(walk="walk", paper_walk="on paper")
    made = Played(SetupTask(), Setting(facts=facts), document=Document.in_memory())
    made(Typed("Kelp Forest"), Take())
    assert stage_of(made) is SetupStage.BOARD
    made(GoOnOnPaper())
    assert stage_of(made) is SetupStage.COUNT_ENTRY
    made(Leave())
    assert stage_of(made) is SetupStage.BOARD, "and back"
    made(GoOnOnPaper(), *[event for text in ("12", "", "") for event in (Typed(text), Take())])
    assert fx.Instead("walk", "on paper") in made.effects


def test_each_question_says_why_it_is_asked_and_what_comes() -> None:
    made = bench((12, "GRB"))
    reasons = set()
    while stage_of(made) is not SetupStage.DONE:
        view = SetupTask().view(made.state)
        assert view.panes is not None
        why, comes = view.panes(20)
        assert (why.title, comes.title) == ("Why this is asked", "What comes")
        reasons.add(why.lines[0].text)
        assert sum(line.text.startswith("▸") for line in comes.lines) == 1
        made.reply(12)
    assert "" not in reasons
    assert len(reasons) >= 4


def test_colours_that_were_seen_stand_among_the_answers() -> None:
    made = bench((12, "BGR"))
    while stage_of(made) is not SetupStage.ORDER:
        made.reply()
    made.reply()
    lines = [line.text for line in SetupTask().view(made.state).details]
    assert any("test colour 1: " in line for line in lines), lines
