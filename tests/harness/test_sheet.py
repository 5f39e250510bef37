"""The harness sheet of a map: joints by function whatever the colours, through splices and their revisions."""

from __future__ import annotations

import json

import pytest

from probe.document.edits import Insert, Remove, renumber
from probe.document.file import demo_map_path, load_map
from probe.document.model import PlayfieldMap
from probe.document.model.harness import JoinedTo
from probe.document.operations import new_map
from probe.document.wiring import joint_at, put_joint
from probe.harness.joints import JointSeverity, check_joint, joint_view, refusals, sheet_rows
from probe.harness.words import harness_data, harness_sheet_lines

DEMO = load_map(demo_map_path())
WHIRLPOOL = DEMO.pixels_at["whirlpool"][0][1]


def found(number: int, **what: JoinedTo) -> PlayfieldMap:
    """The demonstration with something found at a joint."""
    joint = joint_at(DEMO.chain("playfield"), number).model_copy(update=what)
    return put_joint(DEMO, "playfield", joint)


def test_two_reels_meet_by_function() -> None:
    """The first reel's data out is blue, and so is the second one's ground."""
    row = sheet_rows(DEMO, DEMO.chain("playfield"))[WHIRLPOOL]
    assert row.joining == (
        f"join ground of pixel {WHIRLPOOL - 1} (its black) to ground of pixel {WHIRLPOOL} (its blue)",
        f"join 5 V of pixel {WHIRLPOOL - 1} (its red) to 5 V of pixel {WHIRLPOOL} (its white)",
        f"join data out of pixel {WHIRLPOOL - 1} (its blue) to data in of pixel {WHIRLPOOL} (its yellow)",
    )
    assert (row.flag, row.view.made_on, row.problems) == ("checked", "2025-03-16", ())
    assert refusals(DEMO) == 0


def test_a_joints_own_colours_go_before_its_batches() -> None:
    joint = joint_at(DEMO.chain("playfield"), 5)
    own = joint.model_copy(update={"leaving_data": "pink", "arriving_5v": "grey"})
    map_ = put_joint(DEMO, "playfield", own)
    row = sheet_rows(map_, map_.chain("playfield"))[5]
    assert [wire.colour for wire in row.view.leaving.wires] == ["red", "black", "pink"]
    assert [wire.colour for wire in row.view.arriving.wires] == ["grey", "black", "green"]


def test_unlike_functions_are_refused_although_the_colours_match() -> None:
    map_ = found(WHIRLPOOL, data_to=JoinedTo.GROUND, ground_to=JoinedTo.DATA_IN)
    row = sheet_rows(map_, map_.chain("playfield"))[WHIRLPOOL]
    assert row.flag == "REFUSE"
    texts = [p.text for p in row.problems if p.severity is JointSeverity.REFUSE]
    assert any("The colours match, the functions do not" in text for text in texts)
    assert refusals(map_) == 1
    lines = [line for section in harness_sheet_lines(map_) for line in section.lines]
    assert sum("REFUSED" in line for line in lines) == len(texts) == 2


def test_swapped_supply_wires_are_refused_in_strong_words() -> None:
    map_ = found(5, five_volt_to=JoinedTo.GROUND, ground_to=JoinedTo.FIVE_VOLT)
    assert any("do not power it" in p.text for p in check_joint(joint_view(map_, map_.chain("playfield"), 5)))


def test_a_turned_pixel_and_a_wire_joined_to_nothing() -> None:
    turned = found(5, data_to=JoinedTo.DATA_OUT)
    assert "turned" in {p.code for p in check_joint(joint_view(turned, turned.chain("playfield"), 5))}
    loose = found(5, data_to=JoinedTo.NOTHING)
    assert {p.code for p in check_joint(joint_view(loose, loose.chain("playfield"), 5))} == {"open"}


def test_a_five_volt_wire_left_open_on_purpose_is_no_fault() -> None:
    joint = joint_at(DEMO.chain("playfield"), 40)
    told = {"five_volt_open": True, "five_volt_to": JoinedTo.NOTHING, "ground_to": JoinedTo.GROUND}
    map_ = put_joint(DEMO, "playfield", joint.model_copy(update=told))
    row = sheet_rows(map_, map_.chain("playfield"))[40]
    assert not row.refused
    assert row.joining[1] == "leave the 5 V wire of pixel 39 open: two supplies meet here"
    ground_too = told | {"ground_to": JoinedTo.NOTHING, "data_to": JoinedTo.DATA_IN}
    map_ = put_joint(DEMO, "playfield", joint.model_copy(update=ground_too))
    texts = [p.text for p in sheet_rows(map_, map_.chain("playfield"))[40].problems]
    assert len(texts) == 2, "the ground is open on either side, and that is no plan"
    assert all(text.startswith("ground of pixel") for text in texts)


def test_the_sheet_follows_a_splice_and_a_removal_through_revisions() -> None:
    spliced = renumber(
        DEMO, [Insert(chain="playfield", after=10, batch="second-reel")], time="2025-05-01T09:00:00Z", reason="one more"
    )
    rows = sheet_rows(spliced, spliced.chain("playfield"))
    assert [row.ends for row in rows[10:13]] == ["9 to 10", "10 to 11", "11 to 12"]
    assert [row.view.length_m for row in rows[11:13]] == pytest.approx([0.13, 0.13]), "260 mm split in two"
    assert rows[11].joining[2] == "join data out of pixel 10 (its blue) to data in of pixel 11 (its yellow)"
    assert rows[12].joining[2] == "join data out of pixel 11 (its yellow) to data in of pixel 12 (its green)"
    assert rows[11].view.made_on == "2025-05-01"
    shifted = rows[WHIRLPOOL + 1]
    assert (shifted.view.made_on, shifted.flag) == ("2025-03-16", "checked"), (
        "what was not touched only gets a new number"
    )
    assert [f.pixel for f in spliced.feeds] == [f.pixel for f in DEMO.feeds], "feeds stay at their pixels"
    out = renumber(
        spliced, [Remove(chain="playfield", first=11, last=11)], time="2025-05-02T09:00:00Z", reason="not wanted"
    )
    row = sheet_rows(out, out.chain("playfield"))[11]
    assert row.view.length_m == pytest.approx(0.26)
    assert row.joining[2] == "join data out of pixel 10 (its blue) to data in of pixel 11 (its green)"
    assert not row.view.checked


def test_cautions_come_before_the_sheet_and_the_plan() -> None:
    first, codes, *chains = harness_sheet_lines(DEMO)
    assert first.title == "Before you open a joint"
    assert any("plug out of the wall" in line for line in first.lines)
    assert codes.lines[0] == "First reel: 5 V red, ground black, data in green, data out blue"
    assert [section.title for section in chains] == ["Joints of Playfield, output 0", "Joints of Backbox, output 1"]
    assert harness_sheet_lines(new_map("Kelp Forest"))[-1].title == "Before you open a joint"


def test_the_data_of_the_sheet() -> None:
    rows = json.loads(json.dumps(harness_data(DEMO)))
    assert len(rows) == 84 + 24
    assert rows[WHIRLPOOL]["batches"] == ["First reel", "Second reel"]
    assert rows[WHIRLPOOL]["length_mm"] == 120
