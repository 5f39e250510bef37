"""Entering power and wiring: what is typed, stepped, refused, undone; every change saved before anything else."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.model.harness import Batch, Feed, Fixing, JoinedTo, Joint, Power, Supply
from probe.harness.base import PowerError
from probe.harness.entries import (
    Key,
    PlanEntry,
    batch_entries,
    change,
    joint_entries,
    new_feed,
    power_entries,
    remove,
    set_batch,
    set_levels,
    step,
)
from probe.harness.plan import LoadState
from probe.harness.planning import PlanningState, PlanningTask, PowerTask, make_power
from probe.harness.planning_keys import LineUse, NextLoad, OpenLine, PickEntry, PlanNextChain, RemoveEntry, StepEntry
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.light import Dark
from probe.task.task import Opened
from tests.document.strategies import HOSTILE
from tests.harness.test_from_map import bare
from tests.support.examples import examples, first_now
from tests.support.played import Played

DEMO = load_map(demo_map_path())
WIRE = Key(Chain, "k", "wire")


def shown(map_: PlayfieldMap, label: str) -> PlanEntry:
    return next(entry for entry in power_entries(map_, map_.chains[0].id) if entry.label == label)


@pytest.mark.parametrize(
    ("text", "gauge"),
    [("22", "22 AWG"), ("20 awg", "20 AWG"), ("AWG 18", "18 AWG"), ("0.34", "0.34 mm²"), ("0,5 mm2", "0.5 mm²"),
     ("1.5mm²", "1.5 mm²"), ("4 mm²", "4 mm²"), (" 16AWG ", "16 AWG"), ("", None)],
)  # fmt: skip
def test_gauges_as_people_write_them(text: str, gauge: str | None) -> None:
    assert change(bare(), WIRE, text).chain("k").wire == gauge


@pytest.mark.parametrize("text", ["thick", "99 awg", "0 mm2", "-1", "22 23", "nan", "1e9 mm2", "[/x]"])
def test_what_is_no_gauge_is_refused_with_a_hint(text: str) -> None:
    with pytest.raises(PowerError, match=r"wire between pixels: .*(AWG|gauge)"):
        change(bare(), WIRE, text)


def test_steps_up_and_down() -> None:
    map_ = bare()
    assert step(map_, WIRE, 1).chain("k").wire == "20 AWG", "from what is assumed, thicker"
    assert step(map_, WIRE, -1).chain("k").wire == "24 AWG"
    metric = change(map_, WIRE, "0.34")
    assert step(metric, WIRE, 1).chain("k").wire == "0.5 mm²"
    assert step(change(map_, WIRE, "12 awg"), WIRE, 1).chain("k").wire == "12 AWG", "the end of the ladder"
    spacing = Key(Chain, "k", "spacing_mm")
    assert step(map_, spacing, 1).chain("k").spacing_mm == 110
    ceiling = Key(Chain, "k", "ceiling_ma")
    assert step(change(map_, ceiling, "470"), ceiling, 1).chain("k").ceiling_ma == 500
    with pytest.raises(PowerError, match="ceiling of the output"):
        step(change(map_, ceiling, "20"), ceiling, -1)
    power = Key(Power, "", "ceiling_level")
    assert step(map_, power, -1).power == Power(ceiling_level=240)
    assert (
        step(step(map_, Key(Power, "", "typical_percent"), 1), Key(Power, "", "typical_percent"), -1).power is not None
    )
    assert change(change(map_, power, "100"), power, "255").power is None, "nothing noted when all is as by default"


def test_feeds_and_supplies() -> None:
    map_, key = new_feed(bare(), "k", "12")
    assert [f.name for f in map_.feeds] == ["board end", "at 12"], "the one that was taken for granted stays"
    assert key.field == "pixel"
    assert [s.name for s in map_.supplies] == ["5 V supply"]
    assert step(map_, key, 1).feeds[1].pixel == "k-13"
    with pytest.raises(PowerError, match="pixels 0 to 19"):
        change(map_, key, "20")
    with pytest.raises(PowerError, match="pixels 0 to 19"):
        new_feed(map_, "k", "-3")
    named = Key(Feed, map_.feeds[0].id, "supply")
    with pytest.raises(PowerError, match="5 V supply"):
        change(map_, named, "other")
    assert change(map_, named, "5 v").feeds[0].supply == map_.supplies[0].id
    with pytest.raises(PowerError, match="feeds come from it: board end, at 12"):
        remove(map_, Key(Supply, map_.supplies[0].id, "volt"))
    for feed in map_.feeds:
        map_ = remove(map_, Key(Feed, feed.id, "pixel"))
    assert remove(map_, Key(Supply, map_.supplies[0].id, "volt")).supplies == ()
    with pytest.raises(PowerError, match="Empty an entry"):
        remove(map_, WIRE)


def test_a_supplys_rating_goes_along_the_common_sizes() -> None:
    map_, _ = new_feed(bare(), "k", "0")
    key = Key(Supply, map_.supplies[0].id, "rating_a")
    sizes = []
    for _ in range(3):
        map_ = step(map_, key, 1)
        sizes.append(map_.supplies[0].rating_a)
    assert sizes == [1.0, 2.0, 3.0]
    assert step(map_, Key(Supply, map_.supplies[0].id, "usb"), 1).supplies[0].usb
    with pytest.raises(PowerError, match="Enter changes it"):
        step(map_, Key(Supply, map_.supplies[0].id, "name"), 1)


def test_levels_of_places() -> None:
    map_ = set_levels(DEMO, "playfield", "20-30 77")
    numbers = range(20, 31)
    places = {map_.chain("playfield").pixels[n].place for n in numbers} - {None}
    assert {map_.place_by_id[p or ""].level for p in places} == {77}
    assert set_levels(map_, "playfield", "all -").place_by_id["whirlpool"].level is None
    for wrong, why in (("20", "type pixels"), ("20 300", "0 to 255"), ("30-20 5", "0 to 83"), ("0 5", "no place")):
        with pytest.raises(PowerError, match=why):
            set_levels(DEMO, "playfield", wrong)


def test_batches() -> None:
    map_ = set_batch(bare(), "k", "3-5 Third reel")
    assert [p.batch for p in map_.chain("k").pixels[2:7]] == [None, "third-reel", "third-reel", "third-reel", None]
    map_ = set_batch(map_, "k", "5 -")
    assert map_.chain("k").pixels[5].batch is None
    assert set_batch(map_, "k", "all third REEL").batches == map_.batches, "a batch is known by its name"
    assert batch_entries(map_)[0].label == "Batch Third reel, 2 pixels"
    with pytest.raises(PowerError, match="give them another one"):
        remove(map_, Key(Batch, "third-reel", "name"))
    chip = Key(Batch, "third-reel", "chip")
    assert change(map_, chip, "SK6812").batches[0].chip == "sk6812"
    with pytest.raises(PowerError, match="Type one of: WS2811"):
        change(map_, chip, "mystery")


def test_joints() -> None:
    def key(field: str) -> Key:
        return Key(Joint, "k", field, 4)

    map_ = change(bare(), key("data_to"), "data in")
    map_ = change(map_, key("fixing"), "cl")
    map_ = change(map_, key("made_on"), "2025-03-16")
    map_ = change(map_, key("length_mm"), "85")
    (joint,) = map_.chain("k").joints
    assert (joint.after, joint.before) == ("k-3", "k-4")
    assert (joint.data_to, joint.fixing, joint.made_on, joint.length_mm) == (
        JoinedTo.DATA_IN, Fixing.CLIP, "2025-03-16", 85.0,
    )  # fmt: skip
    map_ = change(map_, key("checked"), "yes")
    assert map_.chain("k").joints[0].checked
    worse = change(map_, key("data_to"), "ground")
    assert not worse.chain("k").joints[0].checked, "what was newly found has not been checked"
    with pytest.raises(PowerError, match="cannot be called checked: data out of pixel 3"):
        change(worse, key("checked"), "yes")
    with pytest.raises(PowerError, match="2025-03-16"):
        change(map_, key("made_on"), "yesterday")
    for field in ("data_to", "made_on", "length_mm"):
        map_ = change(map_, key(field), "")
    map_ = change(change(map_, key("fixing"), "unknown"), key("checked"), "no")
    assert map_.chain("k").joints == (), "a joint of which nothing is noted is not kept"
    assert {entry.key for entry in joint_entries(map_, "k", 4)} == {
        key(n) for n in Joint.model_fields if n not in ("after", "before")
    }


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_names_are_kept_as_typed_and_can_be_saved(text: str) -> None:
    map_, _ = new_feed(bare(), "k", "3")
    for key in (
        Key(Feed, map_.feeds[0].id, "name"),
        Key(Supply, map_.supplies[0].id, "name"),
        Key(Joint, "k", "note", 2),
    ):
        try:
            map_ = change(map_, key, text)
        except PowerError:
            assert not text.strip() or len(text) > 2000
    try:
        map_ = set_batch(map_, "k", f"all {text}")
    except PowerError:
        assert not text.strip() or len(text) > 2000 or any(c in text for c in "\n\r\x85\u2028\u2029")
    render_map(map_)
    for entry in (*power_entries(map_, "k"), *batch_entries(map_), *joint_entries(map_, "k", 2)):
        assert all(character >= " " for character in entry.label + entry.value)


# -- the tasks ----------------------------------------------------------------------------------------------------


def start(map_: PlayfieldMap, chain: str = "") -> Played[PlanningState]:
    return Played(*make_power(Opened(map_, (chain, 0))))


def typed(text: str, opening: object) -> tuple[object, ...]:
    """Open the line, type, Enter."""
    return (opening, ev.Typed(text), ev.Take())


def changed(key: Key, text: str) -> tuple[object, ...]:
    return (PickEntry(key), *typed(text, ev.Take()))


def commits(played: Played[PlanningState]) -> list[PlayfieldMap]:
    return [effect.map for effect in played.effects if isinstance(effect, fx.Commit)]


def test_every_change_is_saved_and_undone() -> None:
    played = start(bare())
    first = played.map
    played(*changed(WIRE, "20"))
    assert played.map.chain("k").wire == "20 AWG"
    assert len(commits(played)) == 1
    second = played.map
    played(ev.Undo())
    assert played.map.chains == first.chains
    played(ev.Redo())
    assert played.map.chains == second.chains
    played(*changed(WIRE, "20 AWG"))
    assert len(commits(played)) == 1, "looked at and left"


def test_a_refusal_says_why_and_changes_nothing() -> None:
    played = start(bare())
    first = played.map
    state = played(*changed(WIRE, "thick"))
    assert played.map is first
    assert state.line is not None
    assert state.line.text == "thick", "it stays in the line"
    assert "wire between pixels" in state.message
    assert played.effects == [fx.Bell()]
    assert played(ev.Leave()).line is None
    for nothing in (ev.Undo(), ev.Redo()):
        assert "nothing to" in played(nothing).message
    assert played.closed == []


def test_what_is_typed_is_the_line_until_it_is_left() -> None:
    played = start(bare())
    state = played(*typed("all 40", OpenLine(LineUse.LEVELS)))
    assert "no place is known" in state.message
    assert PowerTask().view(state).typed == "all 40"
    assert played(ev.Leave()).line is None
    assert played(ev.Leave()).line is None
    assert played.closed == [None]
    assert not commits(played)


def test_the_entry_in_hand_stays_near_where_it_was() -> None:
    played = start(bare())
    state = played(*typed("12", OpenLine(LineUse.FEED)))
    made = state.at
    assert made is not None
    assert (made.kind, made.field) == (Feed, "pixel"), "the entry that was made"
    row = state.row
    state = played(RemoveEntry())
    in_hand = PowerTask().in_hand(state)
    assert in_hand is not None
    assert [entry.key for entry in PowerTask().entries(state)].index(in_hand.key) in (row, row + 1, row - 1)
    assert [feed.name for feed in state.map.feeds] == ["board end"]


def test_nothing_is_lit() -> None:
    played = start(DEMO)
    played(StepEntry(1), NextLoad())
    assert played.wanted == Dark()


def test_chains_and_loads_go_round() -> None:
    played = start(DEMO, "backbox")
    assert played(PlanNextChain()).chain == "playfield"
    loads = [played.state.load]
    for _ in range(3):
        loads.append(played(NextLoad()).load)
    assert loads == [LoadState.CEILING, LoadState.TYPICAL, LoadState.FULL_WHITE, LoadState.CEILING]
    assert start(DEMO, "nowhere").state.chain == "playfield"
    with pytest.raises(ValueError, match="no chain"):
        start(DEMO.model_copy(update={"chains": ()}))


def test_the_figures_follow_an_edit_at_once() -> None:
    played = start(bare(60))
    report = played.state.figures.power.report
    assert report is not None
    before = report.state(LoadState.CEILING).lowest.volt
    better = played(*typed("40", OpenLine(LineUse.FEED))).figures.power
    assert better.report is not None
    assert better.report.state(LoadState.CEILING).lowest.volt > before
    assert better.made is not None
    assert better.made.chain_names["k"] == "Kelp"


texts = st.sampled_from(
    ["", "5", "-1", "0.34", "22 awg", "all 40", "0-3 x", "yes", "clip", "ground", "Main", "[/x]", "1e99"]
)


class AnyEntry(PlanningTask):
    """All that can be entered, in one place."""

    def entries(self, s: PlanningState) -> tuple[PlanEntry, ...]:
        chain = s.map.chains[0].id
        return (*power_entries(s.map, chain), *joint_entries(s.map, chain, 3), *batch_entries(s.map))


@pytest.mark.slow
@settings(max_examples=examples(60), deadline=None)
@given(st.data())
def test_any_inputs_leave_a_sound_map_and_can_all_be_undone(data: st.DataObject) -> None:
    _, state = make_power(Opened(bare(8)))
    played = Played(AnyEntry(), state)
    first = played.map
    for _ in range(data.draw(st.integers(1, 12))):
        keys = [entry.key for entry in AnyEntry().entries(played.state) if entry.key is not None]
        key, text = data.draw(st.sampled_from(keys)), data.draw(texts)
        inputs: list[tuple[object, ...]] = [
            changed(key, text), (StepEntry(1, key),), (StepEntry(-1, key),), (RemoveEntry(key),), (NextLoad(),),
            *(typed(text, OpenLine(asked)) for asked in LineUse),
        ]  # fmt: skip
        before, made = played.map, len(commits(played))
        played(*data.draw(st.sampled_from(inputs)))
        if played.state.line is not None:
            played(ev.Leave())
        assert (len(commits(played)) > made) == (played.map.chains != before.chains or played.map is not before)
        render_map(played.map)
        assert played.state.figures.map is played.map
        assert played.state.figures.power.findings is not None
    for _ in commits(played):
        played(ev.Undo())
    assert _noted(played.map) == _noted(first)


def _noted(map_: PlayfieldMap) -> object:
    return (map_.chains, map_.feeds, map_.supplies, map_.batches, map_.power, map_.places)


@pytest.mark.parametrize(
    "module", first_now(["", ".planning", ".planning_keys", ".entries", ".joints", ".from_map", ".checks", ".copper"])
)
def test_numbers_are_loaded_only_where_figures_are_wanted(module: str) -> None:
    """A screen that shows no voltage opens without numpy and scipy."""
    code = f"import sys, probe.harness{module}\nsys.exit(' '.join({{'numpy', 'scipy'}} & set(sys.modules)) or 0)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
