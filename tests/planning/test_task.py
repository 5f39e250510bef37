"""Planning on screen, played without a loop: the plan is there at once and gets better; rules, splices and chains change the map."""

from __future__ import annotations

from dataclasses import replace

import pytest

from probe.document.checks import check_map
from probe.document.edits import Remove, apply_edits
from probe.document.file import demo_map_path, load_map
from probe.document.model import PixelState, PlayfieldMap
from probe.document.needs import needs
from probe.document.operations import new_map, set_state
from probe.planning.keys import (
    ForbidStretch,
    GiveUpSplice,
    KeepToCompare,
    LiftRules,
    MakeChains,
    MoveInOrder,
    NextEntry,
    OneMoreChain,
    PlanMode,
    SeatAt,
    ShowPlanMode,
    TakeInHand,
    TidyOrLeast,
)
from probe.planning.plan import bare_of, brief_of
from probe.planning.splice import (
    SpliceCut,
    chosen_repair,
    chosen_splice,
    frontier,
    repairs,
    spliced,
    with_chosen,
    with_repair,
)
from probe.planning.task import ChainPlanning, PlanTask, make
from probe.planning.words import CAUTION
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import CannotOpenError, Opened
from tests.support.played import Played

DEMO = load_map(demo_map_path())
NOW = "2026-03-01T19:30:00Z"


@pytest.fixture(autouse=True)
def few_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plan is left as it is after a little work."""
    monkeypatch.setattr("probe.planning.task.MOST_PIECES", 2)


class Bench:
    """Played, whose jobs are answered at once."""

    def __init__(self, map_: PlayfieldMap) -> None:
        task, state = make(Opened(map=map_))
        self.task = task
        self.played: Played[ChainPlanning] = Played(task, state)

    @property
    def state(self) -> ChainPlanning:
        return self.played.state

    def do(self, event: object) -> None:
        self.played(event)


def without(label: str) -> PlayfieldMap:
    number = next(n for n, p in enumerate(DEMO.chain("playfield").pixels) if p.place == label)
    return apply_edits(DEMO, [Remove(chain="playfield", first=number, last=number)])


@pytest.mark.slow
def test_a_plan_is_there_at_once_and_gets_better_with_its_bound_shown(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("probe.planning.task.MOST_PIECES", 0)
    bench = Bench(DEMO)
    first = bench.state.plan
    assert first is not None
    assert bench.state.now is not None
    view = bench.task.view(bench.state)
    assert len(view.items) == 80
    assert "not compared with the least possible yet" in view.progress
    monkeypatch.setattr("probe.planning.task.MOST_PIECES", 6)
    bench = Bench(DEMO)
    later = bench.state.plan
    assert later is not None
    assert later.cost_mm <= first.cost_mm
    assert later.bound_mm > 0
    assert "above the least possible" in bench.task.view(bench.state).progress
    assert bench.state.pieces == 6
    jobs = [effect for effect in bench.played.effects if isinstance(effect, fx.Job)]
    assert len(jobs) == 7, "each piece is a job of its own: keys are heard between them"


@pytest.mark.slow
def test_an_answer_of_a_plan_that_is_no_longer_wanted_counts_no_more() -> None:
    bench = Bench(DEMO)
    old = next(effect for effect in bench.played.effects if isinstance(effect, fx.Job))
    bench.do(TidyOrLeast())
    wanted = bench.state
    assert not wanted.tidy
    bench.do(ev.JobDone(old.tag, old.run(fx.Progress())))
    assert bench.state == wanted


def test_a_forbidden_stretch_which_no_row_shows_any_more_is_allowed_again_with_all_rules() -> None:
    bench = Bench(DEMO)
    bench.do(LiftRules())
    assert bench.state.message == "nothing is pinned or forbidden"
    bench.do(ev.Choose(1))
    bench.do(ForbidStretch())
    assert bench.played.map.plan_rules is not None
    assert bench.played.map.plan_rules.forbidden
    bench.do(ev.Choose(1))
    bench.do(ev.Take(NOW))
    bench.do(LiftRules())
    assert bench.state.message == "1 pin taken off, 1 forbidden stretch allowed again"
    rules = bench.played.map.plan_rules
    assert (rules.pinned, rules.forbidden) == ((), ())
    bench.do(ev.NextChain())
    assert (bench.state.part, bench.state.message) == ("backbox", ""), "words of one part are not said of the next"


@pytest.mark.slow
def test_pins_and_bans_are_rules_of_the_map_and_are_undone_with_it() -> None:
    bench = Bench(DEMO)
    bench.do(ev.Choose(1))
    stretch = bench.state.stretch
    assert stretch is not None
    assert stretch.before is not None
    pair = (stretch.before.place, stretch.seat.place)
    bench.do(ev.Take(NOW))
    rules = bench.played.map.plan_rules
    assert rules is not None
    assert rules.pinned == (pair,)
    bench.do(ForbidStretch())
    rules = bench.played.map.plan_rules
    assert rules is not None
    assert (rules.pinned, rules.forbidden) == ((), (pair,))
    assert bench.state.plan is not None
    ties = {frozenset((s.before.place, s.seat.place)) for s in bench.state.plan.stretches if s.before is not None}
    assert frozenset(pair) not in ties
    bench.do(ev.Undo())
    bench.do(ev.Undo())
    assert bench.played.map.plan_rules == DEMO.plan_rules


def test_an_order_changed_by_hand_stays_and_is_compared() -> None:
    bench = Bench(DEMO)
    bench.do(KeepToCompare())
    before = bench.state.plan
    assert before is not None
    bench.do(ev.Choose(5))
    for _ in range(4):
        bench.do(ev.Choose(1))
    bench.do(MoveInOrder(1))
    after = bench.state.plan
    assert after is not None
    assert after.order != before.order
    assert sorted(after.order[0]) == sorted(before.order[0])
    assert not bench.state.working
    view = bench.task.view(bench.state)
    assert "by hand" in view.progress
    assert view.panes is not None
    assert any("kept" in pane.title for pane in view.panes(10))


@pytest.mark.slow
def test_more_chains_and_the_other_part() -> None:
    bench = Bench(DEMO)
    bench.do(OneMoreChain())
    assert bench.state.plan is not None
    assert len(bench.state.plan.order) == 2
    bench.do(ev.NextChain())
    assert bench.state.plan is not None
    assert bench.state.plan.brief.part == "backbox"


@pytest.mark.slow
def test_a_splice_is_declared_with_one_key_and_the_recheck_opens() -> None:
    map_ = without("reef-lane-2")
    assert any(need.task == "plan" and "Reef lane 2" in need.detail for need in needs(map_))
    bench = Bench(map_)
    bench.do(ShowPlanMode(PlanMode.SPLICE))
    assert bench.state.splices
    view = bench.task.view(bench.state)
    assert "51 (52nd)" in " ".join(line.text for line in view.details)
    assert view.details[-1].text == CAUTION
    assert view.long, "what is to be heeded can be read to its end on a small terminal"
    assert view.picture is not None
    assert "splice here" in view.picture.legend
    bench.do(ev.Take(NOW))
    assert bench.played.map.chains == map_.chains, "no number is changed before it is soldered"
    assert "power off" in bench.state.message
    bench.do(GiveUpSplice())
    assert bench.state.asked is None
    assert len(bench.state.splices) > 1
    assert bench.played.map.plan_rules is not None
    assert bench.played.map.plan_rules.splice is None
    bench.do(ev.Take(NOW))
    bench = Bench(bench.played.map)  # another evening
    bench.do(ShowPlanMode(PlanMode.SPLICE))
    assert bench.state.asked is not None
    assert len(bench.state.splices) == 1
    bench.do(ev.Take(NOW))
    changed = bench.played.map
    (spliced,) = changed.pixels_at["reef-lane-2"]
    assert spliced == ("playfield", 51)
    assert changed.chain("playfield").pixels[51].verified == 0
    assert not [f for f in check_map(changed) if f.code in ("wire-too-short", "joint-lost")]
    assert changed.plan_rules is not None
    assert changed.plan_rules.splice is None
    assert [opened.task for opened in bench.played.opened] == ["recheck"]
    assert not any(need.task == "plan" for need in needs(changed))


def test_a_chosen_splice_that_fits_no_longer_is_not_offered() -> None:
    map_ = without("reef-lane-2")
    (splice, *_) = frontier(map_, "playfield", ("reef-lane-2",))
    kept = with_chosen(map_, splice)
    assert chosen_splice(kept) == replace(splice, wire_mm=round(splice.wire_mm, 2))
    assert chosen_splice(spliced(kept, splice)) is None, "it is done"
    shorter = apply_edits(kept, [Remove(chain="playfield", first=3, last=3)])
    assert chosen_splice(shorter) is None
    other = next(iter(map_.pixels_at))
    assert chosen_splice(with_chosen(map_, replace(splice, cuts=(SpliceCut(3, (other,)),)))) is None
    assert chosen_splice(with_chosen(map_, None)) is None


def test_a_seat_is_taken_in_hand_and_goes_behind_the_one_that_is_clicked() -> None:
    bench = Bench(DEMO)
    plan = bench.state.plan
    assert plan is not None
    order = plan.order[0]
    far = plan.stretches[40].seat
    bench.do(SeatAt(far.x_mm + 1, far.y_mm - 1))
    assert bench.state.stretch is not None
    assert bench.state.stretch.seat.place == far.place, "a click marks the seat"
    bench.do(ev.TakeRow(2))
    bench.do(TakeInHand())
    assert "in hand" in bench.state.message
    bench.do(SeatAt(far.x_mm, far.y_mm))
    after = bench.state.plan
    assert after is not None
    at = after.order[0].index(order[2])
    assert bench.state.hand is None
    assert after.brief.seats[after.order[0][at - 1]].place == far.place
    assert bench.state.chosen == at
    assert sorted(after.order[0]) == sorted(order)
    assert bench.state.by_hand
    assert after.stretches[at].seat == plan.brief.seats[order[2]]
    bench.do(TakeInHand())
    bench.do(ev.Choose(-1))
    bench.do(ev.Take(NOW))
    assert bench.state.plan == after, "behind the one before it: where it was"
    bench.do(TakeInHand())
    bench.do(ev.Leave())
    assert bench.state.hand is None


def test_a_seat_is_drawn_behind_another_with_the_mouse() -> None:
    bench = Bench(DEMO)
    plan = bench.state.plan
    assert plan is not None
    one, other = plan.stretches[3].seat, plan.stretches[50].seat
    picture = bench.task.view(bench.state).picture
    assert picture is not None
    drag = picture.drag
    assert drag is not None
    bench.do(drag(one.x_mm + 1, one.y_mm, other.x_mm, other.y_mm - 1))
    after = bench.state.plan
    assert after is not None
    places = [stretch.seat.place for stretch in after.stretches]
    assert places.index(one.place) == places.index(other.place) + 1
    assert (bench.state.hand, bench.state.by_hand) == (None, True)
    bench.do(drag(one.x_mm, one.y_mm, one.x_mm + 1, one.y_mm))
    assert bench.state.plan == after, "drawn to itself: where it was"
    assert bench.state.hand is None
    bench.do(ShowPlanMode(PlanMode.SLACK))
    picture = bench.task.view(bench.state).picture
    assert picture is not None
    assert picture.drag is None


def test_what_improves_a_plan_keeps_to_a_pin_that_was_set_meanwhile(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("probe.planning.task.MOST_PIECES", 0)
    bench = Bench(DEMO)
    first = bench.state.plan
    assert first is not None
    assert not first.proved
    bench.do(ev.Choose(7))
    stretch = bench.state.stretch
    assert stretch is not None
    assert stretch.before is not None
    pair = (stretch.before.place, stretch.seat.place)
    tag = bench.state.tag
    bench.do(ev.Take(NOW))
    plan = bench.state.plan
    assert plan is not None
    assert plan.order == first.order, "the order stands"
    assert bench.state.tag > tag, "an answer that knows of no pin counts no more"
    assert plan.brief.rules.pinned == (pair,)
    seats = plan.order[0]
    at = stretch.number
    assert plan.brief.network.between_mm[seats[at - 1], seats[at]] < 0, "what goes on gains by the pin"
    bench.do(ev.Take(NOW))
    assert bench.state.plan is not None
    assert bench.state.plan.brief.rules.pinned == ()
    assert bench.state.plan.order == first.order


def test_rules_and_the_kept_plan_are_said_on_every_terminal_and_words_of_before_go() -> None:
    bench = Bench(DEMO)
    bench.do(KeepToCompare())
    bench.do(ev.Choose(1))
    bench.do(ev.Take(NOW))
    assert bench.state.message
    bench.do(TidyOrLeast())
    assert bench.state.message == "", "a pin is not said of the next plan"
    assert bench.state.plan is not None
    assert bench.state.kept is not None
    less = round(100 * (1 - bench.state.plan.way_mm / bench.state.kept.way_mm))
    words = bench.task.view(bench.state).above[1].text
    assert words.startswith("least wire, 1 pin, ")
    assert words.endswith(f"{less} % less way than kept")
    bench.do(ev.Choose(9))
    bench.do(ForbidStretch())
    assert "1 forbidden" in bench.task.view(bench.state).above[1].text
    assert "1 pin" in bench.task.view(bench.state).above[1].text


def test_each_chain_has_an_entry_of_its_own() -> None:
    bench = Bench(DEMO)
    bench.do(OneMoreChain())
    plan = bench.state.plan
    assert plan is not None
    bench.do(ev.TakeRow(len(plan.stretches) - 1))
    second = plan.brief.chains[1]
    bench.do(NextEntry())
    assert bench.state.plan is not None
    one, other = bench.state.plan.brief.entries
    assert one == plan.brief.entries[0]
    assert other != one
    assert bench.played.map.plan_rules is not None
    assert [entry.chain for entry in bench.played.map.plan_rules.entries if entry.chain == second] == [second]
    picture = bench.task.view(bench.state).picture
    assert picture is not None
    assert [(s.position.x_mm, s.position.y_mm) for s in picture.spots if s.sign == "E"] == [one, other]


def test_a_dead_pixel_is_shown_with_what_can_be_done() -> None:
    bench = Bench(DEMO)
    bench.do(ShowPlanMode(PlanMode.DEAD))
    view = bench.task.view(bench.state)
    assert view.above[0].text.startswith("1 dead pixel")
    assert view.head == f"{DEMO.machine.name} · plan · dead pixels · Playfield"
    assert [item.text.split(": ")[0] for item in view.items] == ["77 (78th)"] * len(view.items)
    assert len(view.items) >= 2
    assert "replace it" in view.details[0].text
    assert all(item.wrap for item in view.items), "a long row is whole"


def test_a_repair_is_chosen_soldered_and_declared_with_one_key() -> None:
    bench = Bench(DEMO)
    bench.do(ShowPlanMode(PlanMode.DEAD))
    place = DEMO.chain("playfield").pixels[77].place
    bench.do(ev.Choose(1))
    bench.do(ev.Take(time="2026-03-01T20:00:00Z"))
    assert bench.state.mending
    assert bench.played.map.chains == DEMO.chains, "nothing is declared before it is soldered"
    bench = Bench(bench.played.map)
    bench.do(ShowPlanMode(PlanMode.DEAD))
    view = bench.task.view(bench.state)
    assert len(view.items) == 1, "it is kept when the screen is left"
    assert "power off" in view.message
    assert "use the spare" in view.details[0].text
    bench.do(GiveUpSplice())
    assert not bench.state.mending
    assert chosen_repair(bench.played.map) is None
    assert len(bench.state.repairs) == 3
    bench.do(ev.TakeRow(1))
    bench.do(ev.Take(time="2026-03-01T20:00:00Z"))
    bench.do(ev.Take(time="2026-03-01T20:00:00Z"))
    assert bench.played.map.plan_rules is not None
    assert bench.played.map.plan_rules.repair is None
    chain = bench.played.map.chain("playfield")
    assert len(chain.pixels) == len(DEMO.chain("playfield").pixels) - 1
    assert [p.place for p in chain.pixels].count(place) == 1
    assert all(pixel.state is not PixelState.DEAD for pixel in chain.pixels)
    assert [e.reason for e in bench.played.effects if isinstance(e, fx.MakeRevision)] == [
        "Dead pixel 77 (78th) mended: use the spare 65 (66th)"
    ]
    assert [(e.task, e.facts) for e in bench.played.effects if isinstance(e, fx.Open)] == [
        ("recheck", ("playfield", "Dead pixel 77 (78th) mended: use the spare 65 (66th)"))
    ]
    bench.do(ev.TaskClosed("recheck", None))
    assert "not proved yet stands in the worklist" in bench.task.view(bench.state).message
    bench.do(ShowPlanMode(PlanMode.DEAD))
    assert bench.task.view(bench.state).empty[0].text == "no pixel of this chain is dead"
    bench.do(ev.Take(time="2026-03-01T20:00:00Z"))
    assert not bench.state.mending


@pytest.mark.parametrize("at", [0, 1, 2])
def test_a_kept_repair_holds_only_while_the_map_is_as_it_was(at: int) -> None:
    repair = repairs(DEMO, "playfield", 77)[at]
    kept = with_repair(DEMO, "playfield", 77, repair)
    assert chosen_repair(kept) == ("playfield", 77, repair)
    assert chosen_repair(set_state(kept, "playfield", 77, PixelState.UNSEEN)) is None
    assert chosen_repair(apply_edits(kept, [Remove(chain="playfield", first=3, last=3)])) is None
    assert chosen_repair(with_repair(kept, "playfield", 77, None)) is None


def test_it_opens_where_a_line_of_the_worklist_leads() -> None:
    two = set_state(DEMO, "playfield", 80, PixelState.DEAD)
    task, state = make(Opened(map=two, facts=("playfield", 80)))
    played = Played(task, state)
    number, repair = played.state.repairs[played.state.chosen]
    assert (played.state.mode, number, repair.what.split()[0]) == (PlanMode.DEAD, 80, "replace")
    task, state = make(Opened(map=without("reef-lane-1"), facts=("backbox", "splice")))
    played = Played(task, state)
    assert (played.state.mode, played.state.chain) == (PlanMode.SPLICE, "playfield")
    assert played.state.splices
    task, state = make(Opened(map=DEMO, facts=("playfield", 12)))
    assert state.mode is PlanMode.ORDER


@pytest.mark.slow
def test_chains_are_made_from_places_alone_and_not_over_wired_ones() -> None:
    bench = Bench(DEMO)
    bench.do(MakeChains())
    assert bench.played.map == DEMO
    assert "has a pixel already" in bench.state.message
    fresh = bare_of(DEMO, brief_of(DEMO))
    bench = Bench(fresh)
    bench.do(MakeChains())
    assert bench.played.map.chain("playfield").length == 76, "one for each place"


def test_enter_is_offered_only_where_there_is_a_splice_and_says_what_it_does() -> None:
    def offered(state: ChainPlanning) -> list[str]:
        return [
            c.short_words(state)
            for c in PlanTask.commands
            if c.event == ev.Take() and c.shown and (c.when is None or c.when(state))
        ]

    bench = Bench(DEMO)
    bench.do(ShowPlanMode(PlanMode.SPLICE))
    assert (bench.state.splices, offered(bench.state)) == ((), [])
    bench = Bench(without("reef-lane-2"))
    bench.do(ShowPlanMode(PlanMode.SPLICE))
    assert offered(bench.state) == ["Choose it"]
    bench.do(ev.Take(NOW))
    assert offered(bench.state) == ["It is soldered"]


@pytest.mark.slow
def test_the_wire_is_looked_over() -> None:
    bench = Bench(DEMO)
    bench.do(ShowPlanMode(PlanMode.SLACK))
    view = bench.task.view(bench.state)
    assert view.above[0].text == "the wire reaches everywhere"
    assert len(view.items) > 60
    tight = replace(bench.state.slack[0], wire_mm=1.0, needed_mm=31.0)
    view = bench.task.view(replace(bench.state, slack=(tight, *bench.state.slack[1:])))
    assert view.above[0].text == "1 stretch is too short"
    assert view.items[0].text.startswith("  30 mm short  ")
    assert bench.task.view(replace(bench.state, slack=())).above == (), "nothing reaches where no length is noted"
    bench.do(ev.Leave())
    assert bench.state.mode is PlanMode.ORDER


def test_without_positions_it_says_what_to_do() -> None:
    with pytest.raises(CannotOpenError, match="put places into the picture first"):
        make(Opened(map=new_map("Kelp Forest")))
    assert PlanTask.name == "plan"


@pytest.mark.slow
def test_a_splice_after_other_changes_of_the_evening_is_a_change_of_the_map_as_it_is() -> None:
    bench = Bench(without("reef-lane-2"))
    bench.do(ev.Choose(1))
    bench.do(ev.Take(NOW))
    assert bench.played.map.pending
    bench.do(ShowPlanMode(PlanMode.SPLICE))
    bench.do(ev.Take(NOW))
    bench.do(ev.Take(NOW))
    assert bench.played.map.pixels_at["reef-lane-2"] == (("playfield", 51),)
    assert bench.played.map.plan_rules is not None
    assert len(bench.played.map.plan_rules.pinned) == 1
