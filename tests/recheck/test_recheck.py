"""The recheck from a map and back, by a scripted person on planted rewiring; no board, no screen."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from device_protocol.board import ChainWiring, PhysicalPixel
from device_protocol.orders import Identity, RestartCause
from probe.document.document import Document
from probe.document.file import demo_map_path, load_map
from probe.document.model import Bookmark, Chain, PixelState, PlayfieldMap
from probe.document.model.open_recheck import Said
from probe.document.operations import add_chain, new_map, set_count
from probe.document.revisions import changed_in, undo
from probe.recheck.engine import Look, Probe
from probe.recheck.engine.result import Found, Result
from probe.recheck.entries import Name, entries_of, found_map
from probe.recheck.keys import Quick, SayQuick, Singles
from probe.recheck.state import Does, Rechecking, RecheckStage
from probe.recheck.task import RecheckFacts, make
from probe.recheck.view import view
from probe.task import effects as fx
from probe.task.events import Choose, JobDone, Leave, MapChanged, NextChain, Redo, Take, Typed, Undo
from probe.task.light import Pixels
from probe.task.task import Opened
from probe.task.views import TaskView
from probe.ui.footer import hints_for
from tests.support.played import Played
from tests.support.rechecker import (
    NOW,
    Key,
    agrees,
    frame_of,
    keys_for,
    lights_of,
    new_pixels,
    seen,
    wiring_of_chain,
)

CHAIN = "playfield"
Change = Callable[[ChainWiring], ChainWiring]

REWIRED: dict[str, Change] = {
    "nothing": lambda w: w,
    "two spliced in": lambda w: w.spliced_in(30, *new_pixels("Otter lamp", "Otter eye")),
    "one spliced in at the start": lambda w: w.spliced_in(0, *new_pixels("Otter lamp")),
    "one spliced in at the end": lambda w: w.spliced_in(len(w), *new_pixels("Otter lamp")),
    "one taken out": lambda w: w.removed(20),
    "a run taken out": lambda w: w.removed(60, 4),
    "two swapped": lambda w: w.swapped(12, 41),
    "a run reversed": lambda w: w.reversed_run(25, 7),
    "a run moved": lambda w: w.moved(10, 5, 50),
    "one at each of three": lambda w: (
        w.spliced_in(70, *new_pixels("Otter lamp"))
        .removed(47)
        .spliced_in(5, *new_pixels("Otter eye", "Otter ear", "Otter paw"))
    ),
    "one went dark": lambda w: w.without_light(33),
}


BOARD = Identity(
    proto=1,
    board="test-board",
    build="1.0",
    line=96,
    outputs=2,
    pixels=600,
    ceiling_ma=2_000,
    channel_ua=20_000,
    idle_ua=1_000,
    silence_ms=5_000,
    uptime_ms=1,
    cause=RestartCause.POWER,
    table=0,
    features=frozenset({"setup", "range", "paint"}),
)


def demo() -> PlayfieldMap:
    return load_map(demo_map_path())


class Bench(Played[Rechecking]):
    """A recheck played on a wiring; remembers what was committed."""

    def __init__(
        self, map_: PlayfieldMap, wiring: ChainWiring, board: Identity, *, document: Document | None = None
    ) -> None:
        self.wiring = wiring
        self.actions: list[str] = []
        task, state = make(Opened(map=map_, facts=RecheckFacts(CHAIN)))
        super().__init__(task, state, identity=board, document=document)

    @property
    def saved(self) -> list[PlayfieldMap]:
        return [effect.map for effect in self.effects if isinstance(effect, fx.Commit)]

    def put(self, state: Rechecking) -> None:
        """Go on from another state."""
        self._state = state
        self._light()

    def answers(self) -> list[Key]:
        return keys_for(self.state, seen(lights_of(self.wiring, frame_of(self.board.lit))))

    def finish(self, most: int = 80) -> None:
        for _ in range(most):
            if self.state.stage is RecheckStage.SAVED:
                return
            if self.state.stage in (RecheckStage.LOOK, RecheckStage.PROBE):
                self.actions.append(f"{self.state.action}"[:60])
            self(*self.answers())
        raise AssertionError(f"not finished after {most} turns: {self.actions}")


@pytest.mark.slow
@pytest.mark.parametrize("change", REWIRED)
def test_the_map_comes_out_right(change: str) -> None:
    map_ = demo()
    wiring = REWIRED[change](wiring_of_chain(map_, map_.chain(CHAIN)))
    bench = Bench(map_, wiring, BOARD)
    bench.finish()
    after = bench.state.map
    assert agrees(after, CHAIN, wiring) == [], bench.actions
    assert after.chain("backbox") is map_.chain("backbox")
    assert bench.saved[-1] == after
    assert all(m_.chains is map_.chains and m_.revisions is map_.revisions for m_ in bench.saved[:-1])
    assert after.rechecks == ()
    assert len(after.revisions) == len(map_.revisions) + 1
    assert after.revisions[-1].time == NOW
    assert undo(after, time=NOW).chains == map_.chains


def test_where_the_data_stop_the_map_stays_and_the_fault_finder_opens_at_that_joint() -> None:
    map_ = demo()
    whole = wiring_of_chain(map_, map_.chain(CHAIN))
    at = 40
    bench = Bench(map_, ChainWiring(tuple(whole)[:at]), BOARD)
    while bench.state.stage is not RecheckStage.STOP:
        bench(*bench.answers())
    assert f"From pixel {at} (" in bench.state.question
    bench(Choose(1), Take(NOW))
    bench.finish()
    assert [p.place for p in bench.state.map.chain(CHAIN).pixels] == [p.place for p in map_.chain(CHAIN).pixels]
    _, effects = stepped(bench, bench.state, Take(NOW))
    assert effects == (fx.Open("faults", (CHAIN, "dark from", at)),)


@pytest.mark.parametrize(("at", "to"), [(30, 7), (0, 0)])
def test_ends_or_outputs_exchanged_are_one_answer_and_both_chains_change(at: int, to: int) -> None:
    map_ = demo()
    mine, other = (list(wiring_of_chain(map_, map_.chain(chain))) for chain in (CHAIN, "backbox"))
    bench = Bench(map_, ChainWiring((*mine[:at], *other[to:])), BOARD)
    bench.finish()
    assert bench.state.answers <= 8
    assert agrees(bench.state.map, CHAIN, ChainWiring((*mine[:at], *other[to:]))) == []
    assert agrees(bench.state.map, "backbox", ChainWiring((*other[:to], *mine[at:]))) == []
    assert all(pixel.verified == 0 for pixel in bench.state.map.chain("backbox").pixels[to:])
    name = map_.chain("backbox").name
    said = f"This chain goes on as {name}: their ends are exchanged. Recheck {name} too: nobody saw it yet."
    assert said in [line.text for line in view(bench.state).empty]


def stepped(bench: Bench, state: Rechecking, event: object) -> tuple[Rechecking, fx.Effects]:
    """What the step alone makes of an event."""
    found = bench.task.step(state, event, 0.0)
    assert found is not None
    return found


def untouched() -> tuple[PlayfieldMap, ChainWiring]:
    map_ = demo()
    return map_, wiring_of_chain(map_, map_.chain(CHAIN))


def test_a_map_that_is_right_is_proved_by_looking() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring, BOARD)
    bench.finish()
    assert bench.state.answers <= 3
    assert bench.state.namings == 0
    assert all(action.startswith("Look") for action in bench.actions)
    after = bench.state.map
    assert after.revisions[-1].rewired == ()
    number = after.revisions[-1].number
    placed_pixels = [p for p in after.chain(CHAIN).pixels if p.state is PixelState.PLACED]
    assert all(p.verified == number for p in placed_pixels)


def test_stated_changes_are_proved_and_named() -> None:
    map_, wiring = untouched()
    wiring = wiring.spliced_in(4, *new_pixels("Otter lamp", "Otter eye")).removed(20)
    gone = map_.place_of(map_.chain(CHAIN).pixels[18])
    assert gone is not None
    bench = Bench(map_, wiring, BOARD)
    for words in ("2 new after Launch arrow", f"took out {gone.label}"):
        bench(Typed(words))
        bench(Take())
    assert bench.state.message == ""
    assert len(bench.state.edits) == 2
    bench.finish()
    assert agrees(bench.state.map, CHAIN, wiring) == []
    assert bench.state.namings == 2
    assert bench.state.answers == len(bench.actions) - 2 <= 4
    assert changed_in(bench.state.map, CHAIN) == bench.state.map.revisions[-1].number
    assert "said: 2 new after Launch arrow" in bench.state.map.revisions[-1].reason


@pytest.mark.slow
def test_a_wrong_statement_is_found_out() -> None:
    map_, wiring = untouched()
    wiring = wiring.spliced_in(4, *new_pixels("Otter lamp"))
    bench = Bench(map_, wiring, BOARD)
    bench(Typed("1 new after Right outlane glow"))
    bench(Take())
    bench.finish()
    assert agrees(bench.state.map, CHAIN, wiring) == []


def test_words_that_are_not_understood_stay_in_the_line() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring, BOARD)
    for words in ("took out Nowhere", "Backbox: took out #3", "rubbish"):
        bench(Typed(words))
        bench(Take())
        assert bench.state.stage is RecheckStage.DECLARE
        assert bench.state.message
        assert bench.state.typed == words


@pytest.mark.slow
def test_a_board_without_pictures_is_asked_pixel_by_pixel() -> None:
    map_, wiring = untouched()
    wiring = wiring.removed(30)
    bench = Bench(map_, wiring, replace(BOARD, features=frozenset({"setup"})))
    bench.finish(most=300)
    assert not any(action.startswith("Look") for action in bench.actions)
    assert agrees(bench.state.map, CHAIN, wiring) == []


def test_pictures_can_be_given_up_at_any_time() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring, BOARD)
    bench(Take())
    assert isinstance(bench.state.action, Look)
    bench(Singles())
    assert isinstance(bench.state.action, Probe)
    assert not bench.state.looks


def test_answers_count_only_when_the_board_has_said_that_it_is_lit() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring, BOARD)
    bench(Take())
    assert bench.state.is_lit
    bench.lose("unplugged")
    bench(Take())
    assert bench.state.answers == 0
    assert "no board" in bench.state.message
    bench.plug(BOARD)
    assert bench.state.is_lit, "what is asked is lit again"
    bench.board = replace(bench.board, lit=None)
    bench.light_up()
    assert bench.state.is_lit
    bench(Take())
    assert bench.state.answers == 1


@pytest.mark.slow
def test_every_answer_can_be_taken_back() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring.spliced_in(9, *new_pixels("Otter lamp")), BOARD)
    seen_states: list[Rechecking] = []
    while bench.state.stage is not RecheckStage.SAVED:
        if bench.state.stage in (RecheckStage.DECLARE, RecheckStage.LOOK, RecheckStage.PROBE, RecheckStage.DONE):
            seen_states.append(bench.state)
        bench(*bench.answers())
    assert bench.saved[-1] is bench.state.map
    for old in reversed(seen_states):
        bench(Undo())
        assert bench.state.stage is old.stage
        assert bench.state.action == old.action
        assert bench.state.names == old.names
        assert bench.state.map is old.map
        assert bench.state.map.chains is map_.chains
        if old.stage in (RecheckStage.LOOK, RecheckStage.PROBE):
            assert bench.state.is_lit
    assert bench.saved[-1] == map_
    bench(Undo())
    assert bench.state.message == "nothing to undo"


def test_a_thought_that_comes_too_late_is_not_heard() -> None:
    map_, wiring = untouched()
    bench = Bench(map_, wiring, BOARD)
    bench(Take())
    before = bench.state
    state, effects = stepped(bench, bench.state, Take())
    job = next(e for e in effects if isinstance(e, fx.Job))
    state, _ = stepped(bench, state, Undo())
    state, _ = stepped(bench, state, JobDone(job.tag, job.run(fx.Progress())))
    assert state.action == before.action
    assert state.answers == 0


@pytest.mark.slow
def test_a_wrong_answer_is_noticed_and_asked_again() -> None:
    map_, wiring = untouched()
    wiring = REWIRED["two swapped"](wiring)
    bench = Bench(map_, wiring, BOARD)
    lied = False
    for _ in range(80):
        if bench.state.stage is RecheckStage.SAVED:
            break
        if bench.state.stage is RecheckStage.LOOK and not lied:
            lied = True
            wrong = next(i for i, item in enumerate(bench.state.items) if item.does is Does.DIFFERS and i > 20)
            bench(Choose(wrong))
            bench(Take(NOW))
            bench(SayQuick(Quick.NOTHING_LIT))
            bench(Take(NOW))
            continue
        bench(*bench.answers())
    assert lied
    assert agrees(bench.state.map, CHAIN, wiring) == []


def test_an_area_that_differs_is_one_answer_and_is_kept() -> None:
    map_, wiring = untouched()
    wiring = REWIRED["two spliced in"](wiring)
    bench = Bench(map_, wiring, BOARD)
    while bench.state.stage is not RecheckStage.COLOUR:
        bench(*bench.answers())
    bench(Typed("most of"))
    assert [item.does for item in bench.state.items] == [Does.AREA_DIFFERS]
    assert bench.state.items[0].words.endswith(" differs, from here on")
    bench(Take(NOW))
    assert bench.state.kept is not None
    assert bench.state.kept.answers[-1].said is Said.AREA_DIFFERS
    bench.finish()
    assert agrees(bench.state.map, CHAIN, wiring) == []


def test_one_more_pixel_at_a_place_that_is_there() -> None:
    map_, wiring = untouched()
    place = map_.chain(CHAIN).pixels[3].place
    wiring = wiring.spliced_in(4, PhysicalPixel(place, "GRB"))
    bench = Bench(map_, wiring, BOARD)
    bench(Typed("1 new after Launch arrow"))
    bench(Take())
    for _ in range(60):
        if bench.state.stage is RecheckStage.SAVED:
            break
        if bench.state.naming:
            bench(Typed("Launch arrow"))
            again = next(i for i, item in enumerate(bench.state.items) if item.does is Does.NEW_PLACE)
            bench(Choose(again))
            bench(Take())
            continue
        bench(*bench.answers())
    pixels = bench.state.map.chain(CHAIN).pixels
    assert [pixels[n].place for n in (3, 4)] == [place, place]
    assert len(pixels) == len(wiring)


@pytest.mark.slow
def test_two_new_pixels_behind_one_new_insert() -> None:
    map_, wiring = untouched()
    wiring = wiring.spliced_in(4, *new_pixels("Otter lamp", "Otter lamp"))
    bench = Bench(map_, wiring, BOARD)
    bench.finish()
    assert agrees(bench.state.map, CHAIN, wiring) == []
    assert [p.label for p in bench.state.map.places].count("Otter lamp") == 1


def test_too_few_places_ask_for_a_walk() -> None:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id=CHAIN, name="Playfield", output=0, count=5))
    bench = Bench(set_count(map_, CHAIN, 5), ChainWiring.of_places(["a"] * 5), BOARD)
    bench(Take())
    assert bench.state.stage is RecheckStage.DECLARE
    assert "walk it first" in bench.state.message


def test_single_pixels_are_not_begun_over_an_answer_that_is_being_computed() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW))
    state, _ = stepped(bench, bench.state, Take(NOW))
    assert state.stage is RecheckStage.THINK
    after, effects = stepped(bench, state, Singles())
    assert (after.stage, after.tag, after.looks) == (state.stage, state.tag, True), "the answer that is on disk counts"
    assert not any(isinstance(effect, (fx.Commit, fx.Job)) for effect in effects)


def test_leaving_keeps_what_was_answered_and_says_so() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW), Take(NOW))
    assert bench.state.answers == 1
    bench(Leave())
    assert bench.closed == [(CHAIN, None)]
    assert any(isinstance(effect, fx.Notify) and "is kept" in effect.words for effect in bench.effects)
    assert len(bench.map.rechecks[0].answers) == 1


@pytest.mark.parametrize(
    ("open_", "said"),
    [
        ({"proved": False}, "Not proved: the answers leave more doubt than usual"),
        ({"alike": 1}, "nothing visible depends on which it is"),
        ({"chance_alike": 0.0123}, "1.23 % is for changes that these pictures cannot show"),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else "",
)
def test_what_no_answer_settled_is_said_before_the_map_is_kept(open_: dict[str, object], said: str) -> None:
    bench = Bench(*untouched(), BOARD)
    while bench.state.stage is not RecheckStage.DONE:
        bench(*bench.answers())
    now = bench.state.now
    assert now is not None
    assert now.result is not None
    settled = replace(now.result, proved=True, alike=0, chance_alike=0.0, stops_at=None)

    def words(result: Result) -> str:
        return " ".join(line.text for line in view(replace(bench.state, now=replace(now, result=result))).empty)

    assert said in words(replace(settled, **open_))  # type: ignore[arg-type]
    assert said not in words(settled)


def test_the_next_question_begins_at_its_first_row() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW), Choose(5))
    assert bench.state.chosen == 5
    bench(SayQuick(Quick.NOT_SURE))
    assert bench.state.answers == 1
    assert bench.state.chosen == 0


def _differs(bench: Bench, row: int) -> None:
    """The place of this row of the list is dark."""
    rows = [at for at, item in enumerate(bench.state.items) if item.does is Does.DIFFERS]
    bench(Choose(rows[row] - bench.state.chosen), Take(NOW), SayQuick(Quick.NOTHING_LIT))


def test_places_that_differ_are_gathered_and_esc_gives_them_up() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW))
    listed = [item.entries[0] for item in bench.state.items if item.does is Does.DIFFERS]
    for row in (3, 4):
        _differs(bench, row)
    assert [one.place for one in bench.state.gathered] == [listed[3], listed[5]]
    assert bench.state.answers == 0
    bench(Leave())
    assert (bench.state.stage, bench.state.gathered, bench.closed) == (RecheckStage.LOOK, (), [])
    bench(Leave())
    assert bench.closed == [(CHAIN, None)]


def test_three_places_that_differ_are_one_answer_and_undo_takes_back_one_at_a_time() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW))
    for row in (3, 4):
        _differs(bench, row)
    bench(Undo())
    assert len(bench.state.gathered) == 1
    for row in (4, 5):
        _differs(bench, row)
    assert not bench.state.gathered
    assert bench.state.answers == 1
    assert len(bench.map.rechecks[0].answers[0].more) == 2


def test_a_pixel_that_was_found_dark_is_dark_at_its_place_and_the_others_are_as_they_were() -> None:
    map_ = demo()
    entries = entries_of(map_, CHAIN, ())
    before = entries.chain.pixels
    dark = next(n for n, pixel in enumerate(before) if pixel.state is PixelState.PLACED)
    numbers = [Found(number=n, old=n, declared=False, dark=n == dark, verified=False) for n in range(len(before))]
    after = found_map(entries, Result(numbers=tuple(numbers), removed=(), confidence=1.0), {}).chain(CHAIN).pixels
    assert after[dark] == before[dark].model_copy(update={"state": PixelState.DARK})
    assert [n for n, (one, other) in enumerate(zip(before, after, strict=True)) if one != other] == [dark]


def test_a_new_place_lies_in_the_area_of_the_place_before_it() -> None:
    map_ = demo()
    entries = entries_of(map_, CHAIN, ())
    at = 30
    before = entries.place(at - 1)
    assert before is not None
    assert before.area
    olds = [*range(at), None, *range(at, len(entries.chain.pixels))]
    numbers = [Found(number=n, old=old, declared=False, dark=False, verified=True) for n, old in enumerate(olds)]
    found = found_map(entries, Result(numbers=tuple(numbers), removed=(), confidence=1.0), {at: Name("Otter lamp")})
    pixel = found.chain(CHAIN).pixels[at]
    place = found.place_of(pixel)
    assert place is not None
    assert (place.label, place.area, place.kind) == ("Otter lamp", before.area, before.kind)
    assert pixel.verified == map_.revisions[-1].number + 1


def test_the_bookmark_stays_on_the_chain_that_became_shorter() -> None:
    map_ = demo()
    last = len(map_.chain(CHAIN).pixels) - 1
    map_ = map_.model_copy(update={"bookmark": Bookmark(chain=CHAIN, number=last)})
    entries = entries_of(map_, CHAIN, ())
    numbers = [Found(number=n, old=n, declared=False, dark=False, verified=True) for n in range(last - 2)]
    gone = tuple(range(last - 2, last + 1))
    found = found_map(entries, Result(numbers=tuple(numbers), removed=gone, confidence=1.0), {})
    assert found.bookmark == Bookmark(chain=CHAIN, number=last - 3)


def test_a_further_pixel_at_a_place_needs_no_name() -> None:
    """Though it had one before: the last that is known of it is the place where an old pixel is seen as well."""
    map_ = demo()
    entries = entries_of(map_, CHAIN, ())
    numbers = [
        Found(number=n, old=n, declared=False, dark=False, verified=True) for n in range(len(entries.chain.pixels))
    ]
    more = Found(number=len(numbers), old=None, declared=False, dark=False, verified=True, further=3)
    result = Result(numbers=(*numbers, more), removed=(), confidence=1.0)
    found = found_map(entries, result, {more.number: Name("Otter lamp")})
    assert found.chain(CHAIN).pixels[-1].place == map_.chain(CHAIN).pixels[3].place
    assert found.places == map_.places


def test_kept_answers_are_none_of_the_map_s_own_undo() -> None:
    bench = Bench(*untouched(), BOARD)
    before = bench.document.can_undo
    bench(Take(NOW), Take(NOW))
    assert bench.map.rechecks
    assert bench.document.can_undo == before
    assert bench(Redo()).message.startswith("nothing to do again")
    assert bench.state.answers == 1


def test_what_was_walked_before_becomes_a_revision_of_its_own() -> None:
    map_, wiring = untouched()
    task, state = make(Opened(map=map_, facts=(CHAIN, 7)))
    bench = Played(task, state)
    assert any(isinstance(effect, fx.MakeRevision) for effect in bench.effects)
    bench(Leave())
    assert bench.closed == [(CHAIN, 7)]
    assert len(wiring) == len(map_.chain(CHAIN).pixels)


def test_a_map_changed_elsewhere_is_asked_about_anew() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW))
    assert bench.state.stage is RecheckStage.LOOK
    fresh = bench(MapChanged("a revision was taken back"))
    assert (fresh.stage, fresh.message) == (RecheckStage.DECLARE, "a revision was taken back")


def test_a_refused_picture_says_the_way_round_it() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW))
    bench.refuse("too bright for its ceiling")
    view = bench.task.view(bench.state)
    assert isinstance(view, TaskView)
    assert view.message == "too bright for its ceiling (F5, P: go on with single pixels)"
    assert bench(Take(NOW)).message == "too bright for its ceiling"


def test_in_ascii_every_colour_has_a_letter_of_its_own() -> None:
    task, state = make(Opened(map=demo(), facts=RecheckFacts(CHAIN), plain_ascii=True))
    bench = Played(task, state, identity=BOARD)
    bench(Take(NOW))
    view = task.view(bench.state)
    assert isinstance(view, TaskView)
    assert view.picture is not None
    assert view.picture.legend == "R red  Y yellow  B blue  W white  . dark  O other"
    assert {spot.sign for spot in view.picture.spots} <= set("RYBW.O+")
    assert all(line.text.isascii() or "·" in line.text or "×" in line.text for line in view.items)


def test_the_next_chain_only_before_the_first_question() -> None:
    bench = Bench(*untouched(), BOARD)
    assert bench(NextChain()).chain != CHAIN
    bench(NextChain(), Take(NOW))
    assert bench.state.chain == CHAIN
    assert bench(NextChain()).message == "this chain first: its recheck has begun"


def test_the_board_is_set_up_to_reach_every_number_that_may_be_asked_about() -> None:
    """Also behind the chain's end as the map has it: pixels may have been added there."""
    bench = Bench(*untouched(), BOARD)
    bench(Take(NOW))
    assert bench.state.now is not None
    assert isinstance(bench.wanted, Pixels)
    assert bench.wanted.setup is not None
    numbers = bench.state.now.engine.numbers
    assert bench.wanted.setup.count == numbers > bench.state.here.length
    assert len(bench.wanted.colours) <= numbers


def test_a_click_in_the_picture_marks_the_place_it_is_nearest_to() -> None:
    bench = Bench(*untouched(), BOARD)
    bench(Take())
    item = bench.state.items[7]
    assert bench.state.entries is not None
    place = bench.state.entries.place(item.entries[0])
    assert place is not None
    assert place.position is not None
    view = bench.task.view(bench.state)
    assert isinstance(view, TaskView)
    assert view.picture is not None
    assert view.picture.point is not None
    bench(Typed("nothing like it"), view.picture.point(place.position.x_mm + 1, place.position.y_mm))
    assert bench.state.item == item
    assert bench.state.typed == ""


def test_answers_stand_among_the_keys_only_while_something_is_asked() -> None:
    bench = Bench(*untouched(), BOARD)
    words = [hint.words for hint in hints_for(bench.task.commands, bench.state, {})]
    assert words == ["Take", "Undo", "Menu", "Help", "Back"]
    bench(Take())
    assert "Nothing lit" in [hint.words for hint in hints_for(bench.task.commands, bench.state, {})]
