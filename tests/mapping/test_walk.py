"""The walk as a pure step: answers, order of effects, undo, boards that come and go."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from device_protocol.values import Colour
from probe.document.model import Chain, Kind, PixelState, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from probe.mapping.keys import (
    Answer,
    Ask,
    ChangeKind,
    ChangeLevel,
    Choose,
    Entry,
    GoTo,
    Key,
    Leave,
    Move,
    PutAt,
    Redo,
    Say,
    Take,
    ToggleBlink,
    TogglePaper,
    Typed,
    Undo,
)
from probe.mapping.moving import level_under
from probe.mapping.walk import step
from probe.mapping.walk_state import Walk, start
from probe.task.steps import (
    BoardDark,
    BoardGone,
    BoardHere,
    ButtonPressed,
    Effect,
    News,
    NotSaved,
    NotShown,
    RingBell,
    Saved,
    SaveMap,
    SetUpChain,
    ShowDark,
    Shown,
    ShowPixel,
    Tick,
)
from tests.support.boards import identity
from tests.support.examples import examples

BOARD = identity(features=frozenset({"setup", "range", "paint"}))


def two_chains(first: int = 10, second: int = 5) -> PlayfieldMap:
    m = new_map("Kelp Forest")
    for output, (name, count) in enumerate([("playfield", first), ("backbox", second)]):
        m = add_chain(m, Chain(id=name, name=name.title(), output=output, count=count))
        m = set_count(m, name, count)
    return m


def play(walk: Walk, *inputs: Key | News) -> tuple[Walk, list[Effect]]:
    """Give inputs one after another; the board lights whatever it is asked to, at once."""
    effects: list[Effect] = []
    for at, given in enumerate(inputs):
        walk, new = step(walk, given, float(at))
        effects += new
        for effect in new:
            if isinstance(effect, (ShowPixel, ShowDark)):
                walk, more = step(walk, Shown(effect), float(at))
                assert not more
    return walk, effects


def label(text: str) -> tuple[Key, ...]:
    return Typed(text), Take()


def labels(m: PlayfieldMap, chain: str = "playfield") -> list[str | None]:
    return [place.label if (place := m.place_of(p)) else None for p in m.chain(chain).pixels]


def at_board(m: PlayfieldMap | None = None) -> Walk:
    return play(start(m or two_chains()), BoardHere(BOARD))[0]


def test_a_board_is_set_up_then_the_pixel_is_lit() -> None:
    walk, effects = play(start(two_chains()), BoardHere(BOARD))
    assert [type(e) for e in effects] == [SetUpChain, SetUpChain, ShowPixel]
    assert effects[-1] == ShowPixel(0, 0, Colour(32, 32, 32))
    assert walk.is_lit


def test_an_answer_saves_before_the_next_pixel_lights() -> None:
    walk, effects = play(at_board(), *label("Reef lane 1"))
    saved = next(i for i, e in enumerate(effects) if isinstance(e, SaveMap))
    lit = next(i for i, e in enumerate(effects) if isinstance(e, ShowPixel))
    assert saved < lit
    assert effects[saved] == SaveMap(walk.map)
    assert labels(walk.map)[0] == "Reef lane 1"
    assert walk.number == 1
    assert walk.map.bookmark is not None
    assert walk.map.bookmark.number == 1


def test_enter_alone_takes_the_pattern() -> None:
    walk, _ = play(at_board(), *label("Reef lane 1"), Take(), Take())
    assert labels(walk.map)[:3] == ["Reef lane 1", "Reef lane 2", "Reef lane 3"]


def test_no_answer_before_the_board_says_it_is_lit() -> None:
    walk = at_board()
    walk, _ = step(walk, Move(1), 0.0)
    assert not walk.is_lit
    walk, effects = step(walk, Typed("Otter"), 0.0)
    walk, effects = step(walk, Take(), 0.0)
    assert effects == (RingBell(),)
    assert "not lit yet" in walk.message
    assert walk.typed == "Otter", "what was typed stays"
    assert labels(walk.map) == [None] * 10


def test_a_stale_confirmation_lights_nothing_on_screen() -> None:
    walk = at_board()
    walk, effects = step(walk, Move(1), 0.0)
    (asked,) = effects
    walk, _ = step(walk, Move(1), 0.0)
    walk, _ = step(walk, Shown(asked), 0.0)  # type: ignore[arg-type]
    assert not walk.is_lit, "pixel 1 was confirmed late; pixel 2 is what the screen shows"


def test_a_lost_board_takes_no_answers_until_paper() -> None:
    walk, _ = play(at_board(), BoardGone("the plug was pulled"), *label("Reef lane 1"))
    assert labels(walk.map) == [None] * 10
    assert not walk.is_lit
    walk, _ = play(walk, TogglePaper(), Take())
    assert labels(walk.map)[0] == "Reef lane 1"


def test_a_board_that_comes_back_is_lit_where_the_walk_is() -> None:
    walk, _ = play(at_board(), Move(3), BoardGone("gone"))
    walk, effects = play(walk, BoardHere(BOARD))
    assert ShowPixel(0, 3, Colour(32, 32, 32)) in effects
    assert walk.is_lit


def test_one_key_answers() -> None:
    walk, _ = play(
        at_board(),
        *label("Bumper 1"),
        Say(Answer.SAME_PLACE),
        Say(Answer.NOTHING_LIT),
        Say(Answer.HIDDEN),
        Say(Answer.SPARE),
        Say(Answer.REPEATER),
    )
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
    walk, _ = play(at_board(), *label("A"), *label("B"))
    walk, effects = play(walk, Undo())
    assert (walk.number, labels(walk.map)[:2]) == (1, ["A", None])
    assert isinstance(effects[0], SaveMap)
    assert ShowPixel(0, 1, Colour(32, 32, 32)) in effects
    walk, _ = play(walk, Redo())
    assert labels(walk.map)[:2] == ["A", "B"]
    walk, _ = play(walk, Undo(), Undo(), Undo())
    assert labels(walk.map)[:2] == [None, None]
    assert "nothing to undo" in walk.message


def test_a_corrected_label_leaves_no_empty_place_behind() -> None:
    walk, _ = play(at_board(), *label("Ref lane 1"), Move(-1), *label("Reef lane 1"))
    assert [p.label for p in walk.map.places] == ["Reef lane 1"]


def test_the_end_of_a_chain_leads_to_the_next_unseen_pixel() -> None:
    walk, effects = play(at_board(two_chains(2, 2)), *label("A"), *label("B"))
    assert (walk.chain, walk.number) == ("backbox", 0)
    assert ShowDark(0) in effects, "the first chain goes dark"
    walk, _ = play(walk, *label("C"), *label("D"))
    assert "every pixel has been answered" in walk.message


def test_an_open_count_grows_as_it_is_walked() -> None:
    m = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Open", output=0))
    walk = at_board(m)
    for number in range(70):
        walk, _ = play(walk, *label(f"Place {number}"))
    assert len(walk.map.chain("a").pixels) == 70
    assert walk.number == 70
    assert walk.is_lit


def test_area_and_kind_are_inherited() -> None:
    walk, _ = play(
        at_board(), Ask(Entry.AREA), Typed("Kelp reef"), Take(), ChangeKind(1), *label("Bumper 1"), *label("X")
    )
    assert [(p.area, p.kind) for p in walk.map.places] == [("Kelp reef", Kind.BUMPER)] * 2


def test_notes_positions_and_going_to_a_number() -> None:
    walk, _ = play(at_board(), Ask(Entry.NOTE), Typed("cold joint?"), Take())
    assert walk.map.chain("playfield").pixels[0].note == "cold joint?"
    walk, _ = play(walk, PutAt(100.0, 200.0), *label("Reef lane 1"))
    position = walk.map.places[0].position
    assert position is not None
    assert (position.x_mm, position.y_mm, position.guessed) == (100.0, 200.0, False)
    walk, _ = play(walk, *label("Reef lane 2"))
    second = walk.map.places[1].position
    assert second is not None
    assert second.guessed, "taken over from the neighbour: marked as a guess"
    walk, _ = play(walk, Ask(Entry.GOTO), Typed("7"), Take())
    assert (walk.number, walk.is_lit) == (7, True)
    walk, effects = play(walk, Ask(Entry.GOTO), Typed("70"), Take())
    assert "the last pixel is 9 (10th)" in walk.message
    assert RingBell() in effects


def test_the_step_button_steps() -> None:
    walk, _ = play(at_board(), ButtonPressed(), ButtonPressed(2))
    assert (walk.number, walk.is_lit) == (3, True)


def test_blinking_is_a_flash_a_second_and_can_be_forbidden() -> None:
    walk, effects = play(at_board(), ToggleBlink(), Tick(), Tick(), Tick(), Tick())
    shown = [type(e) for e in effects]
    assert shown == [ShowPixel, ShowDark, ShowPixel, ShowDark, ShowPixel]
    walk, _ = play(walk, *label("Answered while it blinks"))
    assert labels(walk.map)[0] == "Answered while it blinks"
    quiet = play(start(two_chains(), steady_only=True), BoardHere(BOARD), ToggleBlink(), Tick())[0]
    assert not quiet.blinking


def test_trouble_is_said_and_nothing_is_lost() -> None:
    walk, _ = play(at_board(), *label("Reef lane 1"))
    walk, _ = step(walk, NotSaved("the disk is full"), 0.0)
    assert walk.unsaved == "the disk is full"
    assert labels(walk.map)[0] == "Reef lane 1"
    walk, _ = step(walk, Saved(), 0.0)
    assert walk.unsaved == ""
    walk, _ = step(walk, NotShown(ShowPixel(0, 1, Colour(1, 1, 1)), "no such pixel"), 0.0)
    assert not walk.is_lit
    walk, effects = step(walk, BoardDark(), 0.0)
    assert isinstance(effects[-1], ShowPixel), "a board that went dark by itself is lit again"


def test_pace_and_time_left() -> None:
    walk = start(two_chains(), paper=True)
    for at, text in [(0.0, "A"), (2.0, "B"), (4.0, "C")]:
        walk, _ = step(walk, Typed(text), at)
        walk, _ = step(walk, Take(), at)
    assert walk.pace_s == pytest.approx(2.0)
    assert walk.left_s == pytest.approx(7 * 2.0)


def test_the_level_keeps_under_the_ceiling() -> None:
    # 84 pixels x 1 mA idle leave 16 mA of 100 mA; three colours of 20 mA at full: 16/60 of 255
    assert level_under(255, count=84, ceiling_ma=100, identity=BOARD) == 68
    assert level_under(255, count=84, ceiling_ma=50, identity=BOARD) == 1


def test_a_walk_resumes_at_its_bookmark() -> None:
    walk, _ = play(start(two_chains(), paper=True), *label("A"), *label("B"))
    again = start(walk.map, paper=True)
    assert (again.chain, again.number) == ("playfield", 2)


_TEXTS = st.one_of(
    st.sampled_from(["Reef lane 1", "[/x]", "=1+1", "", "Bumper 2", "\x00\x1b[2J", "\u202eabc"]), st.text(max_size=30)
)


class WalkMachine(RuleBasedStateMachine):
    """Any keys in any order, with a board that comes, goes, and lags: answers are never lost, light is never claimed."""

    def __init__(self) -> None:
        super().__init__()
        self.walk = start(two_chains(6, 4))
        self.pending: list[ShowPixel | ShowDark] = []
        self.saved = self.walk.map
        self.really_lit: dict[int, int | None] = {0: None, 1: None}
        self.clock = 0.0

    def give(self, given: Key | News) -> None:
        self.clock += 1
        self.walk, effects = step(self.walk, given, self.clock)
        for effect in effects:
            if isinstance(effect, SaveMap):
                self.saved = effect.map
            elif isinstance(effect, (ShowPixel, ShowDark)):
                self.pending.append(effect)

    @rule(text=_TEXTS)
    def types(self, text: str) -> None:
        self.give(Typed(text))

    @rule()
    def enter(self) -> None:
        self.give(Take())

    @rule(answer=st.sampled_from(Answer))
    def says(self, answer: Answer) -> None:
        self.give(Say(answer))

    @rule(key=st.sampled_from([Undo(), Redo(), Leave(), ToggleBlink(), TogglePaper(), ChangeKind(), Choose(1), Tick()]))
    def other(self, key: Key | News) -> None:
        self.give(key)

    @rule(by=st.integers(-3, 3))
    def moves(self, by: int) -> None:
        self.give(Move(by))

    @rule(entry=st.sampled_from(Entry))
    def asks(self, entry: Entry) -> None:
        self.give(Ask(entry))

    @rule(by=st.sampled_from([-1, 1]))
    def levels(self, by: int) -> None:
        self.give(ChangeLevel(by))

    @rule(number=st.integers(-1, 12), chain=st.sampled_from(["playfield", "backbox", "nowhere"]))
    def goes(self, number: int, chain: str) -> None:
        self.give(GoTo(number, chain))

    @rule()
    def board_comes(self) -> None:
        self.pending.clear()
        self.really_lit = {0: None, 1: None}
        self.give(BoardHere(BOARD))

    @rule()
    def board_goes(self) -> None:
        self.pending.clear()
        self.give(BoardGone("gone"))

    @precondition(lambda self: self.pending)
    @rule()
    def board_lights(self) -> None:
        effect = self.pending.pop(0)
        if isinstance(effect, ShowPixel):
            self.really_lit[effect.output] = effect.number
        elif effect.output is not None:
            self.really_lit[effect.output] = None
        else:
            self.really_lit = {0: None, 1: None}
        self.give(Shown(effect))

    @invariant()
    def what_is_answered_is_saved(self) -> None:
        def answers(m: PlayfieldMap) -> Sequence[object]:
            return [(chain.id, chain.pixels) for chain in m.chains]

        assert answers(self.saved) == answers(self.walk.map)
        assert self.saved.places == self.walk.map.places

    @invariant()
    def lit_is_lit(self) -> None:
        if self.walk.is_lit:
            assert self.really_lit[self.walk.here.output] == self.walk.number

    @invariant()
    def map_is_sound(self) -> None:
        PlayfieldMap.model_validate_json(self.walk.map.model_dump_json())


TestWalkMachine = WalkMachine.TestCase
TestWalkMachine.settings = settings(max_examples=examples(60), stateful_step_count=40, deadline=None)
