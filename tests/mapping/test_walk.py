"""The walk as a task: answers, what is lit, undo, boards that come and go, labels typed ahead."""

from __future__ import annotations

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from device_protocol.orders import ChainCount, CountChain
from device_protocol.values import Colour
from probe.document.model import Chain, Kind, PixelState, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.mapping.walk import WalkTask
from probe.mapping.walk_keys import (
    ChangeCount,
    ChangeKind,
    GoTo,
    Move,
    PutAt,
    Say,
    ToggleBlink,
    TogglePaper,
    UseLine,
)
from probe.mapping.walk_state import OneKey, Walk, WalkEntry, start
from probe.task import effects as fx
from probe.task.events import (
    Answered,
    ChangeLevel,
    Choose,
    Leave,
    NotAnswered,
    Redo,
    StepButton,
    Take,
    TakeRow,
    Typed,
    Undo,
)
from probe.task.light import Alternate, Dark, HandsOff, Pixels
from probe.task.screen import WriteExport, WriteSheet
from probe.task.views import TaskView
from tests.support.boards import identity
from tests.support.examples import examples
from tests.support.played import Played

BOARD = identity(features=frozenset({"setup", "range", "paint"}))
WHITE = Colour(32, 32, 32)


def two_chains(first: int = 10, second: int = 5) -> PlayfieldMap:
    map_ = new_map("Kelp Forest")
    for output, (name, count) in enumerate([("playfield", first), ("backbox", second)]):
        map_ = add_chain(map_, Chain(id=name, name=name.title(), output=output, count=count))
        map_ = set_count(map_, name, count)
    return map_


def label(text: str) -> tuple[object, ...]:
    return Typed(text), Take()


def labels(map_: PlayfieldMap, chain: str = "playfield") -> list[str | None]:
    return [place.label if (place := map_.place_of(p)) else None for p in map_.chain(chain).pixels]


def at_board(map_: PlayfieldMap | None = None, *, lights_up: bool = True) -> Played[Walk]:
    played = Played(WalkTask(), start(map_ or two_chains()), identity=BOARD)
    played.lights_up = lights_up
    return played


def on_paper(map_: PlayfieldMap | None = None) -> Played[Walk]:
    return Played(WalkTask(), start(map_ or two_chains(), paper=True))


def test_the_pixel_asked_about_is_lit() -> None:
    walk = at_board()
    assert walk.lights == [Pixels.one(0, 0, WHITE)]
    assert walk.state.is_lit


def test_an_answer_is_committed_and_the_next_pixel_wanted() -> None:
    walk = at_board()
    walk(*label("Reef lane 1"))
    (commit,) = [e for e in walk.effects if isinstance(e, fx.Commit)]
    assert labels(commit.map)[0] == "Reef lane 1"
    assert labels(walk.map)[0] == "Reef lane 1"
    assert walk.state.number == 1
    assert walk.wanted == Pixels.one(0, 1, WHITE)
    assert walk.map.bookmark is not None
    assert walk.map.bookmark.number == 1


def test_enter_alone_takes_the_pattern() -> None:
    walk = at_board()
    walk(*label("Reef lane 1"), Take(), Take())
    assert labels(walk.map)[:3] == ["Reef lane 1", "Reef lane 2", "Reef lane 3"]


def test_no_answer_before_the_board_says_it_is_lit() -> None:
    walk = at_board(lights_up=False)
    walk(Move(1))
    assert not walk.state.is_lit
    for key in (Take(), Say(OneKey.NOTHING_LIT), Say(OneKey.SPARE)):
        walk(key)
        assert walk.effects[-1] == fx.Bell()
        assert "not lit yet" in walk.state.message
    assert walk.map.chain("playfield").pixels == two_chains().chain("playfield").pixels


def test_a_label_finished_before_its_light_waits_for_it() -> None:
    walk = at_board(lights_up=False)
    walk(Move(1), *label("Otter"), *label("Eel"), Typed("Cra"))
    assert labels(walk.map) == [None] * 10
    assert walk.task.view(walk.state).message == "waiting for light: Otter, Eel"
    assert walk.state.typed == "Cra"
    walk.light_up()
    assert labels(walk.map)[:4] == [None, "Otter", None, None]
    assert walk.state.number == 2
    walk.light_up()
    assert labels(walk.map)[:4] == [None, "Otter", "Eel", None]
    assert (walk.state.number, walk.state.typed, walk.state.waiting) == (3, "Cra", ())


def send_back(walk: Played[Walk], how: str) -> None:
    """What waits for light goes back into the line, in one of the ways in which it can."""
    match how:
        case "lost":
            walk.lose()
        case "restarted":
            walk.lose()
            walk.plug(BOARD)
        case "refused":
            walk.refuse("there is no such pixel")
        case "undo":
            walk(Undo())
        case _:
            walk(Move(1))


@pytest.mark.parametrize("how", ["lost", "restarted", "refused", "undo", "moved"])
def test_what_waits_goes_back_into_the_line_and_onto_no_other_pixel(how: str) -> None:
    walk = at_board()
    walk(*label("Otter"))
    walk.lights_up = False
    walk(Move(1), *label("Eel"), *label("Crab"), Typed("Sq"))
    send_back(walk, how)
    assert walk.state.typed == "Eel"
    assert "not taken: Crab, Sq" in walk.state.message or how == "undo"
    before = walk.map
    if how != "refused":
        walk.plug(BOARD)
    walk.light_up()
    assert walk.map is before, "nothing is taken unless it is finished again"
    walk(Typed("EelSquid"))
    assert walk.state.typed == "Squid", "two names never run together"


@pytest.mark.parametrize("how", ["lost", "restarted", "refused", "undo", "moved"])
@pytest.mark.parametrize("later", ["Take", "NOTHING_LIT", "SAME_PLACE"])
def test_what_is_typed_on_without_looking_lands_on_no_pixel(how: str, later: str) -> None:
    """A paper list is typed on while what waited went back into the line: not one answer of it is taken for another pixel."""
    walk = at_board()
    walk(*label("Otter"))
    walk.lights_up = False
    walk(*label("Ray"), *label("Eel"), Typed("Cr"))
    send_back(walk, how)
    before = walk.map
    if how != "undo":
        walk.plug(BOARD)
    walk.lights_up = True
    walk.light_up()
    assert walk.state.typed == "Eel"
    for name in ("ab", "Squid", "Anchor"):
        walk(Typed(walk.state.typed + name), Take())
        assert walk.effects[-1] == fx.Bell()
        assert "Enter once more takes" in walk.state.message
    if later != "Take":
        walk(Say(OneKey[later]))
        assert walk.effects[-1] == fx.Bell()
    assert walk.map is before
    assert walk.state.typed == "Anchor"
    number = walk.state.number
    walk(Take() if later == "Take" else Say(OneKey[later]))
    pixel = walk.map.chain("playfield").pixels[number]
    assert pixel.state is (PixelState.DARK if later == "NOTHING_LIT" else PixelState.PLACED), "who looks says it again"


def test_what_is_typed_stays_apart_when_undo_leads_to_another_pixel() -> None:
    walk = at_board()
    walk(*label("Otter"), *label("Eel"), Typed("Cra"), Undo())
    assert (walk.state.number, walk.state.typed) == (1, "Cra")
    before = walk.map
    walk(Typed("Crab"), Take())
    assert walk.map is before
    assert walk.state.typed == "b", "the rest of a name is no name"
    walk(Leave(), *label("Ray"))
    assert labels(walk.map)[:2] == ["Otter", "Ray"]


def test_one_key_answers_never_wait_and_close_what_is_typed_ahead() -> None:
    walk = at_board(lights_up=False)
    walk(Move(1), *label("Otter"), Say(OneKey.NOTHING_LIT), *label("Crab"))
    assert walk.state.typed == "Crab", "it was meant for a pixel after the one that was refused"
    walk.light_up()
    assert labels(walk.map)[:3] == [None, "Otter", None]


def test_a_lost_board_takes_no_answers_until_paper() -> None:
    walk = at_board()
    walk.lose("the plug was pulled")
    walk(*label("Reef lane 1"))
    assert labels(walk.map) == [None] * 10
    assert not walk.state.is_lit
    walk(TogglePaper(), Take())
    assert labels(walk.map)[0] == "Reef lane 1"


def test_a_board_that_comes_back_is_lit_where_the_walk_is() -> None:
    walk = at_board()
    walk(Move(3))
    walk.lose()
    walk.plug(BOARD)
    assert walk.lights[-1] == Pixels.one(0, 3, WHITE)
    assert walk.state.is_lit


def test_one_key_answers() -> None:
    walk = at_board()
    walk(*label("Bumper 1"), *(Say(answer) for answer in OneKey))
    states = [p.state for p in walk.map.chain("playfield").pixels[:6]]
    assert states == [
        PixelState.PLACED,
        PixelState.PLACED,
        PixelState.DARK,
        PixelState.HIDDEN,
        PixelState.SPARE,
        PixelState.REPEATER,
    ]
    assert walk.map.pixels_at["bumper-1"] == (("playfield", 0), ("playfield", 1))


def test_undo_and_redo_return_to_the_pixel_and_relight_it() -> None:
    walk = at_board()
    walk(*label("A"), *label("B"))
    walk(Undo())
    assert (walk.state.number, labels(walk.map)[:2]) == (1, ["A", None])
    assert walk.lights[-1] == Pixels.one(0, 1, WHITE)
    walk(Redo())
    assert labels(walk.map)[:2] == ["A", "B"]
    walk(Undo(), Undo(), Undo())
    assert labels(walk.map)[:2] == [None, None]
    assert "nothing to undo" in walk.state.message


def test_a_corrected_label_leaves_no_empty_place_behind() -> None:
    walk = at_board()
    walk(*label("Ref lane 1"), Move(-1), *label("Reef lane 1"), Take())
    assert [p.label for p in walk.map.places] == ["Reef lane 1"]


def test_the_end_of_a_chain_leads_to_the_next_unseen_pixel() -> None:
    walk = at_board(two_chains(2, 2))
    walk(*label("A"), *label("B"), Say(OneKey.NOTHING_LIT))
    assert (walk.state.chain, walk.state.number) == ("backbox", 0)
    assert walk.wanted == Pixels.one(1, 0, WHITE), "and so the first chain goes dark"
    assert fx.MakeRevision() in walk.effects, "a finished chain is a revision"
    walk(*label("C"), *label("D"))
    assert "every pixel has been answered" in walk.state.message


@pytest.mark.slow
def test_an_open_count_grows_as_it_is_walked() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Open", output=0))
    walk = at_board(map_)
    for number in range(70):
        walk(*label(f"Place {number}"))
    assert len(walk.map.chain("a").pixels) == 70
    assert walk.state.number == 70
    assert walk.state.is_lit


def test_area_and_kind_are_inherited() -> None:
    walk = at_board()
    walk(UseLine(WalkEntry.AREA), Typed("Kelp reef"), Take(), ChangeKind(1), *label("Bumper 1"), *label("X"))
    assert [(p.area, p.kind) for p in walk.map.places] == [("Kelp reef", Kind.BUMPER)] * 2


def test_notes_positions_and_going_to_a_number() -> None:
    walk = at_board()
    walk(UseLine(WalkEntry.NOTE), Typed("cold joint?"), Take())
    assert walk.map.chain("playfield").pixels[0].note == "cold joint?"
    walk(PutAt(100.0, 200.0), *label("Reef lane 1"))
    position = walk.map.places[0].position
    assert position is not None
    assert (position.x_mm, position.y_mm, position.guessed) == (100.0, 200.0, False)
    walk(*label("Reef lane 2"))
    second = walk.map.places[1].position
    assert second is not None
    assert second.guessed, "taken over from the neighbour: marked as a guess"
    walk(UseLine(WalkEntry.GOTO), Typed("7"), Take())
    assert (walk.state.number, walk.state.is_lit) == (7, True)
    walk(UseLine(WalkEntry.GOTO), Typed("70"), Take())
    assert "the last pixel is 9 (10th)" in walk.state.message
    assert fx.Bell() in walk.effects


def test_the_step_button_steps() -> None:
    walk = at_board()
    walk(StepButton(), StepButton(2))
    assert (walk.state.number, walk.state.is_lit) == (3, True)


def test_blinking_is_a_flash_a_second_and_can_be_forbidden() -> None:
    walk = at_board()
    walk(ToggleBlink())
    assert walk.wanted == Alternate(Pixels.one(0, 0, WHITE), Dark(), 0.5)
    walk(*label("Answered while it blinks"))
    assert labels(walk.map)[0] == "Answered while it blinks"
    quiet = Played(WalkTask(), start(two_chains(), steady_only=True), identity=BOARD)
    assert not quiet(ToggleBlink()).blinking


def test_pace_and_time_left() -> None:
    walk = on_paper()
    for text in ("A", "B", "C"):
        walk(*label(text), every_s=1.0)
    assert walk.state.pace_s == pytest.approx(2.0)
    assert walk.state.left_s == pytest.approx(7 * 2.0)


def test_a_walk_resumes_at_its_bookmark() -> None:
    walk = on_paper()
    walk(*label("A"), *label("B"))
    again = start(walk.map, paper=True)
    assert (again.chain, again.number) == ("playfield", 2)


_TEXTS = st.one_of(
    st.sampled_from(["Reef lane 1", "[/x]", "=1+1", "", "Bumper 2", "\x00\x1b[2J", "\u202eabc"]), st.text(max_size=30)
)


class WalkMachine(RuleBasedStateMachine):
    """Any keys in any order, with a board that comes, goes, and lags: light is never claimed, the map stays sound."""

    def __init__(self) -> None:
        super().__init__()
        self.walk = at_board(two_chains(6, 4), lights_up=False)

    @rule(text=_TEXTS)
    def types(self, text: str) -> None:
        self.walk(Typed(text))

    @rule()
    def enter(self) -> None:
        before, number, lit = self.walk.map, (self.walk.state.chain, self.walk.state.number), self.walk.state.is_lit
        on_paper, entry = self.walk.state.paper, self.walk.state.entry
        self.walk(Take())
        if entry is WalkEntry.LABEL and not lit and not on_paper:
            assert self.walk.map is before, "nothing is answered without light"
        elif entry is WalkEntry.LABEL:
            changed = [
                (chain, n) for chain, n, pixel in self.walk.map.walk_pixels() if pixel != before.chain(chain).pixels[n]
            ]
            assert set(changed) <= {number}, "an answer lands on the pixel that was lit"

    @rule(answer=st.sampled_from(OneKey))
    def says(self, answer: OneKey) -> None:
        self.walk(Say(answer))

    @rule(key=st.sampled_from([Undo(), Redo(), Leave(), ToggleBlink(), TogglePaper(), ChangeKind(), Choose(1)]))
    def other(self, key: object) -> None:
        self.walk(key)

    @rule(by=st.integers(-3, 3))
    def moves(self, by: int) -> None:
        self.walk(Move(by))

    @rule(entry=st.sampled_from(WalkEntry))
    def asks(self, entry: WalkEntry) -> None:
        self.walk(UseLine(entry))

    @rule(by=st.sampled_from([-1, 1]))
    def levels(self, by: int) -> None:
        self.walk(ChangeLevel(by))

    @rule(number=st.integers(-1, 12), chain=st.sampled_from(["playfield", "backbox", "nowhere"]))
    def goes(self, number: int, chain: str) -> None:
        self.walk(GoTo(number, chain))

    @rule()
    def board_comes(self) -> None:
        self.walk.plug(BOARD)

    @rule()
    def board_goes(self) -> None:
        self.walk.lose()

    @rule()
    def board_refuses(self) -> None:
        if self.walk.board.here:
            self.walk.refuse("there is no such pixel")

    @precondition(lambda self: self.walk.board.here and self.walk.board.lit != self.walk.wanted)
    @rule()
    def board_lights(self) -> None:
        self.walk.light_up()

    @invariant()
    def lit_is_lit(self) -> None:
        if self.walk.state.is_lit:
            assert self.walk.board.lit == self.walk.wanted

    @invariant()
    def map_is_sound(self) -> None:
        PlayfieldMap.model_validate_json(self.walk.map.model_dump_json())


TestWalkMachine = WalkMachine.TestCase
TestWalkMachine.settings = settings(max_examples=examples(60), stateful_step_count=40, deadline=None)


@pytest.mark.parametrize("key", [Move(1), GoTo(10), GoTo(-1)])
def test_beyond_either_end_nothing_is_asked_or_lit(key: Move | GoTo) -> None:
    walk = at_board(two_chains(first=10))
    walk(GoTo(9), key)
    assert walk.state.number == 9
    assert walk.wanted == Pixels.one(0, 9, WHITE)
    assert walk.effects[-1] == fx.Bell()


def test_every_new_place_is_in_the_picture_at_once_as_a_guess() -> None:
    played = on_paper()
    for text in ("Left sling", "Otter 1", "Otter 2", "Bumper"):
        played(*label(text))
    positions = [place.position for place in played.map.places]
    assert len(positions) == 4
    assert all(position is not None and position.guessed for position in positions)
    assert len({(p.x_mm, p.y_mm) for p in positions if p is not None}) == 4


def view_of(walk: Played[Walk]) -> TaskView:
    view = walk.task.view(walk.state)
    assert isinstance(view, TaskView)
    return view


def at_the_end(count: int) -> Played[Walk]:
    """The only chain answered to its count, with a board at it."""
    map_ = set_count(add_chain(new_map("Kelp Forest"), Chain(id="a", name="Reef", output=0)), "a", count)
    walk = at_board(map_)
    for number in range(count):
        walk(*label(f"Place {number}"))
    return walk


def test_past_the_count_some_pixels_are_lit_and_asked_about() -> None:
    walk = at_the_end(10)
    assert isinstance(walk.wanted, Pixels)
    assert (walk.wanted.first, len(walk.wanted.colours)) == (10, 4)
    assert walk.wanted.setup is not None
    assert walk.wanted.setup.count == 14, "the board has to drive more than the map says"
    assert not walk.state.is_lit, "no pixel that can be named is lit"
    assert "Past the end: 10 to 13" in view_of(walk).above[1].text
    before = walk.map
    walk(Say(OneKey.SPARE), *label("Otter"))
    assert walk.map is before, "no answer lands on the last pixel"


def test_a_count_of_10_for_a_chain_of_24_is_corrected_by_typing() -> None:
    walk = at_the_end(10)
    walk(TakeRow(0), *label("10"))
    assert "from 11" in walk.state.message
    walk(*label("24"))
    assert walk.map.chain("a").count == 24
    assert (walk.state.number, walk.state.is_lit) == (10, True)
    walk(Undo())
    assert walk.map.chain("a").count == 10


@pytest.mark.parametrize("real", [11, 14, 15, 24, 100, 500])
def test_a_count_of_10_is_corrected_by_light(real: int) -> None:
    walk = at_the_end(10)
    walk(TakeRow(0), Take())
    for _ in range(40):
        if walk.state.end is None:
            break
        assert walk.state.past is not None
        walk(TakeRow(0 if walk.state.past[0] < real else 1))
    assert walk.map.chain("a").count == real
    assert walk.state.number == 10


def test_the_end_shows_what_comes_next_and_its_rows_open_it() -> None:
    walk = at_the_end(3)
    walk(Say(OneKey.NOTHING_LIT))
    assert walk.wanted == Dark()
    view = view_of(walk)
    words = [line.text for line in view.items]
    assert any("table into the board" in text for text in words)
    walk(TakeRow(next(n for n, text in enumerate(words) if "table into" in text)))
    assert walk.opened[-1].task == "board"
    for part, asked in (("sheet", WriteSheet()), ("Export", WriteExport())):
        walk(TakeRow(next(n for n, text in enumerate(words) if part in text)))
        assert walk.effects[-1] == fx.OnScreen(asked), "one key each: the screen asks where it goes"
    walk(Leave())
    assert walk.state.is_lit, "back at the last pixel"
    walk(Move(unseen=True))
    assert view_of(walk).items == view.items, "and the end was looked at"


def test_a_board_lost_at_the_end_is_no_trap() -> None:
    walk = at_the_end(3)
    walk.lose("the plug was pulled")
    walk(TakeRow(1))
    assert "wait" in walk.state.message
    assert "as soon as one answers" in view_of(walk).above[1].text
    walk(TakeRow(3))
    assert "not looked at" in walk.state.message
    assert view_of(walk).items


def test_an_answer_that_replaces_one_says_so_and_a_verified_one_needs_a_second_press() -> None:
    walk = at_board()
    walk(*label("Otter"), Move(-1), *label("Eel"))
    assert "verified as Otter" in walk.state.message
    assert labels(walk.map)[0] == "Otter"
    walk(Take())
    assert labels(walk.map)[0] == "Eel"
    assert [line.text for line in view_of(walk).above][-1] == "0 (1st) was Otter · Ctrl+Z"
    walk(Move(-1), Say(OneKey.SPARE), Move(1), Move(-1), Say(OneKey.SPARE))
    assert labels(walk.map)[0] == "Eel", "the first press is forgotten elsewhere"
    walk(Say(OneKey.HIDDEN), Say(OneKey.SPARE))
    assert labels(walk.map)[0] == "Eel", "and it was for that answer only"
    walk(Say(OneKey.SPARE))
    assert walk.map.chain("playfield").pixels[0].state is PixelState.SPARE


def test_the_same_answer_again_asks_nothing() -> None:
    walk = at_board()
    walk(*label("Otter"), Move(-1), *label("Otter"))
    assert (walk.state.number, walk.state.was) == (1, "")


def test_on_paper_an_answer_is_replaced_at_once_and_named() -> None:
    walk = on_paper()
    walk(*label("Otter"), Move(-1), *label("Eel"))
    assert (labels(walk.map)[0], walk.state.was) == ("Eel", "0 (1st) was Otter · Ctrl+Z")


@pytest.mark.parametrize("count", [3, 12])
def test_the_count_of_a_chain_can_be_changed_later(count: int) -> None:
    for walk in (at_board(), on_paper()):
        walk(GoTo(5), ChangeCount(), *label(str(count)))
        assert walk.map.chain("playfield").count == count
        assert walk.state.number == (10 if count > 10 else count - 1)
        walk(Undo())
        assert walk.map.chain("playfield").count == 10


def test_or_found_by_light_from_the_first_pixel() -> None:
    walk = at_board()
    walk(ChangeCount(), Take())
    for _ in range(40):
        if walk.state.end is None:
            break
        assert walk.state.past is not None
        walk(TakeRow(0 if walk.state.past[0] < 7 else 1))
    assert walk.map.chain("playfield").count == 7
    walk(ChangeCount(), Leave())
    assert walk.state.is_lit, "one step back is the walk"


Answer = Answered | NotAnswered


def asked_by_wire(answer: Answer, walk: Played[Walk] | None = None, **board: object) -> Played[Walk]:
    """The count of a chain is asked of the return wire, and this is what the board says; nothing is lit meanwhile."""
    walk = walk or Played(WalkTask(), start(two_chains()), identity=identity(**board))

    def say(ask: fx.Ask) -> Answer:
        assert ask.orders == (CountChain(0, 1_000, 5),)
        assert ask.words
        assert isinstance(walk.wanted, HandsOff)
        return answer

    walk.answer = say
    walk(*(() if walk.state.end is not None else (ChangeCount(),)), Typed(" W "), Take())
    return walk


def counted(least: int, most: int) -> Answered:
    return Answered("count by wire", (ChainCount(least, most, 20),))


def test_a_count_is_found_by_the_return_wire() -> None:
    walk = asked_by_wire(counted(7, 7))
    assert walk.map.chain("playfield").count == 7
    walk(Undo())
    assert walk.map.chain("playfield").count == 10


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (counted(0, 0), "nothing came back"),
        (counted(6, 7), "the counts differ, 6 to 7"),
        (NotAnswered("count by wire", "stopped: counting by the return wire"), "stopped"),
    ],
)
def test_what_the_return_wire_does_not_say_for_sure_changes_nothing(answer: Answer, said: str) -> None:
    walk = asked_by_wire(answer)
    assert walk.map.chain("playfield").count == 10
    assert said in walk.state.message
    assert walk.state.end is not None, "the question stands"
    walk(Leave())
    assert walk.state.is_lit, "one step back is the walk"


def test_a_board_without_that_input_says_so() -> None:
    walk = asked_by_wire(counted(7, 7), features=frozenset())
    assert "no input for a return wire" in walk.state.message
    assert walk.map.chain("playfield").count == 10


def test_past_the_end_a_count_that_is_not_longer_is_not_believed() -> None:
    walk = at_the_end(10)
    walk.plug(identity())
    walk(TakeRow(0))
    asked_by_wire(counted(10, 10), walk)
    assert walk.map.chains[0].count == 10
    assert "10 pixels came back, but pixels past 9 lit" in walk.state.message
    asked_by_wire(counted(24, 24), walk)
    assert walk.map.chains[0].count == 24
