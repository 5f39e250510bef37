"""The worklist: computed lines, a person's own, ticks that hold as long as what they were about; photos by name."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from probe.document.file import demo_map_path, load_map
from probe.document.model import PixelState, PlayfieldMap
from probe.document.model.evenings import Photo, WorkMoment
from probe.document.model.game import Discrepancy
from probe.document.model.harness import Fixing, Joint
from probe.document.model.light import Rating, Reading
from probe.document.model.planning import ChosenCut, ChosenRepair, ChosenSplice, PlanRules, RepairWay
from probe.document.model.playfield import Position
from probe.document.needs import WorkItem, needs, open_items, take_out_line, tick, worklist, write_line
from probe.document.operations import add_place, set_pixel
from probe.document.photos import NoSuchTargetError, attach, detach, titles
from probe.document.wiring import put_joint
from tests.document.strategies import maps
from tests.support.examples import examples

DEMO = load_map(demo_map_path())
HALF = load_map(demo_map_path("kelp_forest_half.json"))
NOW = "2026-03-01T19:30:00Z"


def words(map_: PlayfieldMap) -> list[str]:
    return [item.need.words for item in open_items(worklist(map_))]


def find(map_: PlayfieldMap, start: str) -> WorkItem:
    return next(item for item in worklist(map_) if item.need.words.startswith(start))


def test_every_need_is_a_line_of_it_in_the_order_of_an_evening() -> None:
    for map_ in (DEMO, HALF):
        items = worklist(map_)
        assert {need.words for need in needs(map_)} <= {item.need.words for item in items}
        moments = [list(WorkMoment).index(item.need.moment) for item in items]
        assert moments == sorted(moments)


def test_what_was_chosen_in_the_plan_is_what_the_line_says_until_the_chain_is_another() -> None:
    length = DEMO.chain("playfield").length
    for way, start in (
        (RepairWay.REPLACE, "Replace the dead pixel Playfield 77"),
        (RepairWay.SPARE, "Put a spare in for the dead pixel Playfield 77"),
        (RepairWay.LEAVE_OUT, "Bypass the dead pixel Playfield 77"),
    ):
        kept = ChosenRepair(chain="playfield", pixels=length, number=77, way=way)
        map_ = DEMO.model_copy(update={"plan_rules": PlanRules(repair=kept)})
        assert find(map_, start).need.detail.endswith("chosen; say so in the plan once it is soldered")
        for other in ({"pixels": length - 1}, {"number": 76}):
            stale = PlanRules(repair=kept.model_copy(update=other))
            assert (
                find(DEMO.model_copy(update={"plan_rules": stale}), "Replace the dead").need.detail.count("chosen") == 0
            )
    lacking, place = add_place(DEMO, "Otter gate", position=Position(x_mm=200, y_mm=400))
    assert "Plan where to splice 1 pixel" in words(lacking)
    splice = ChosenSplice(chain="playfield", pixels=length, cuts=(ChosenCut(after=3, places=(place.id,)),))
    chosen = lacking.model_copy(update={"plan_rules": PlanRules(splice=splice)})
    line = find(chosen, "Solder the chosen splice of 1 pixel").need
    assert line.task == "plan"
    assert "Otter gate" in line.detail
    stale = PlanRules(splice=splice.model_copy(update={"pixels": length + 1}))
    assert "Plan where to splice 1 pixel" in words(lacking.model_copy(update={"plan_rules": stale}))


def test_a_dead_pixel_a_loose_wire_and_a_missing_one_come_before_power_at_their_area() -> None:
    assert find(DEMO, "Replace the dead pixel Playfield 77").need.area == "Trench"
    joint = Joint(after="playfield-9", before="playfield-10", fixing=Fixing.LOOSE, extra_mohm=40)
    map_ = put_joint(DEMO, "playfield", joint)
    loose = find(map_, "Redo the joint that arrives at Playfield 10").need
    assert loose.detail == "40 mΩ too much, its wire hangs loose"
    assert (loose.moment, loose.area) == (WorkMoment.BEFORE_POWER, "Tide pool")
    pixel = DEMO.chain("playfield").pixels[10]
    bare = set_pixel(DEMO, "playfield", 10, pixel.model_copy(update={"place": None, "state": PixelState.SPARE}))
    missing = find(bare, "Fit 1 missing pixel").need
    assert (missing.detail, missing.area) == ("Dive again", "Tide pool")
    for map_, is_missing in ((HALF, False), (DEMO, True)):
        more, _ = add_place(map_, "Otter gate")
        assert any(line.startswith("Fit") for line in words(more)) == is_missing, (
            "what nobody walked yet is not missing"
        )


def test_spots_of_the_last_walk_and_what_was_seen_otherwise_are_on_it() -> None:
    general = [p for p in DEMO.places if p.kind.value == "general" and p.id in DEMO.pixels_at]
    readings = tuple(
        Reading(round=r, place=p.id, rating=Rating.DARK if (r == 1) == (n == 0) else Rating.FAIR)
        for r in (1, 2)
        for n, p in enumerate(general)
    )
    map_ = DEMO.model_copy(
        update={"readings": readings, "observations": (Discrepancy(time=NOW, revision=2, lamp=5, seen="two"),)}
    )
    dark = [item.need for item in worklist(map_) if item.need.words.startswith("Lighten")]
    assert sum(int(need.words.split()[1]) for need in dark) == len(general) - 1
    assert not any(line.startswith("Take readings") for line in words(map_))
    assert find(map_, "Clear up what lamp 5 did").need.moment is WorkMoment.GAME_ON


def test_a_line_of_ones_own_is_kept_ticked_and_taken_out() -> None:
    map_ = write_line(DEMO, "  order fuses ", moment=WorkMoment.GAME_ON, area="Trench")
    item = find(map_, "order fuses")
    assert (item.need.moment, item.need.area, item.done) == (WorkMoment.GAME_ON, "Trench", "")
    done = tick(map_, item, time=NOW)
    assert find(done, "order fuses").done == NOW
    assert worklist(done)[-1].need.words == "order fuses", "what is done comes last"
    assert find(tick(done, find(done, "order fuses"), time=NOW), "order fuses").done == ""
    assert item.own is not None
    assert take_out_line(done, item.own) == DEMO
    with pytest.raises(ValidationError):
        write_line(DEMO, "   ", moment=WorkMoment.GAME_ON)


@pytest.mark.slow
def test_a_tick_holds_only_while_what_it_was_about_is_the_same() -> None:
    ticked = DEMO
    for start in ("Print the sheet", "Put the table", "Replace the dead"):
        ticked = tick(ticked, find(ticked, start), time=NOW)
    assert {item.need.words[:9] for item in worklist(ticked) if item.done} == {"Print the", "Put the t", "Replace t"}
    assert [bool(item.done) for item in worklist(ticked)] == [False, False, True, True, True], "what is done comes last"
    again = tick(ticked, find(ticked, "Print the sheet"), time=NOW)
    assert not find(again, "Print the sheet").done
    newer = ticked.model_copy(
        update={"revisions": (*DEMO.revisions, DEMO.revisions[-1].model_copy(update={"number": 3}))}
    )
    assert not find(newer, "Print the sheet").done
    assert find(newer, "Put the table").done
    first = DEMO.places[0].model_copy(update={"lamps": (99,)})
    other = ticked.model_copy(update={"places": (first, *DEMO.places[1:])})
    assert not find(other, "Put the table").done


@pytest.mark.slow
@settings(max_examples=examples(60))
@given(maps(), st.text(min_size=1, max_size=30))
def test_any_map_has_a_worklist_whose_lines_can_be_ticked(map_: PlayfieldMap, line: str) -> None:
    items = worklist(map_)
    names = [(item.own, item.need.name) for item in items]
    for item in items[:4]:
        assert item.need.words
        assert item.need.chain is None or item.need.chain in map_.chain_by_id
        after = tick(map_, item, time=NOW)
        same = [i for i in worklist(after) if (i.own, i.need.name) == (item.own, item.need.name)]
        assert all(bool(i.done) != bool(item.done) for i in same) or names.count((item.own, item.need.name)) > 1
        PlayfieldMap.model_validate(after.model_dump(mode="json"))
    if line.strip():
        assert len(worklist(write_line(map_, line, moment=WorkMoment.POWER_ON))) == len(items) + 1


# -- photos -----------------------------------------------------------------------------------------------------------


def test_photos_are_of_a_place_or_a_joint() -> None:
    map_ = attach(DEMO, "eel.jpg", place="trench EEL 3", caption="water")
    map_ = attach(map_, "joint.PNG", pixel="playfield:79")
    map_ = attach(map_, "joint.png", pixel="79")
    assert [row[0] for row in titles(map_)] == ["eel.jpg", "joint.PNG", "joint.png"]
    assert titles(map_)[0] == ("eel.jpg", "Trench eel 3", "water")
    assert {row[1] for row in titles(map_)} == {"Trench eel 3", "joint arriving at Playfield 79 (80th)"}
    assert len({photo.id for photo in map_.photos}) == 3
    assert detach(map_, "eel.jpg").photos == map_.photos[1:]
    for bad in ({}, {"place": "x", "pixel": "y"}, {"place": "nowhere"}, {"pixel": "playfield:999"}, {"pixel": "²"}):
        with pytest.raises(NoSuchTargetError):
            attach(DEMO, "a.jpg", **bad)
    with pytest.raises(NoSuchTargetError):
        detach(map_, "other.jpg")


@pytest.mark.parametrize(
    "name",
    [
        "../x.jpg", "/etc/x.jpg", "a/b.jpg", "a\\b.jpg", "C:x.jpg", ".hidden.jpg", "~x.jpg", "-o.jpg", "x\n.jpg", "x\x1b[31m.jpg",
        "con.jpg", "NUL.png", "x.jpg ", "x.svg", "x.html", "x", "", ".jpg", "a..jpg", "x?.jpg", "\u202egpj.jpg", "x" * 200 + ".jpg",
        'x".jpg', "a|b.jpg", "<x>.png", "lpt1.jpg",
    ],
)  # fmt: skip
def test_a_hostile_file_name_is_refused(name: str) -> None:
    with pytest.raises(ValidationError):
        Photo(id="p", file=name)


@pytest.mark.parametrize("name", ["eel.jpg", "IMG_0012.JPG", "Trench eel 3, left.png", "фото ß.webp", "console.jpg"])
def test_a_plain_file_name_is_taken(name: str) -> None:
    assert Photo(id="p", file=name).file == name
