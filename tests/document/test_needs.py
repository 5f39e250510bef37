"""What a map needs next is computed from the map alone, the most useful first."""

from __future__ import annotations

from datetime import UTC, timedelta, timezone, tzinfo

import pytest
from hypothesis import given

from probe.document import operations as op
from probe.document.board_table import board_table
from probe.document.file import demo_map_path, load_map
from probe.document.local_time import local_date, local_minute
from probe.document.model import Chain, PixelState, PlayfieldMap, Revision
from probe.document.needs import Need, needs, worklist
from tests.document.strategies import maps

DEMO = load_map(demo_map_path())
HALF = load_map(demo_map_path("kelp_forest_half.json"))


def tasks(map_: PlayfieldMap) -> list[str]:
    return [need.task for need in needs(map_)]


def test_a_map_without_chains_needs_to_be_set_up_first() -> None:
    assert needs(op.new_map("Any machine")) == ()


def test_the_half_walked_map_needs_the_walk_where_it_stopped_then_lamps_then_proof() -> None:
    assert needs(HALF)[:2] == (
        Need("walk", "Walk Playfield", "41 pixels unseen", "playfield", 43),
        Need("walk", "Walk Backbox", "24 pixels unseen", "backbox", 0),
    )
    assert tasks(HALF) == ["walk", "walk", "lamps", "prove"]


def test_one_of_a_kind_is_in_the_singular() -> None:
    pixel = DEMO.chain("playfield").pixels[83].model_copy(update={"state": PixelState.UNSEEN, "place": None})
    found = needs(op.set_pixel(DEMO, "playfield", 83, pixel))
    assert Need("walk", "Walk Playfield", "1 pixel unseen", "playfield", 83) in found


def test_a_changed_chain_needs_a_recheck() -> None:
    revision = Revision(number=9, time="2025-05-01T00:00:00Z", reason="one more", rewired=("playfield",))
    changed = DEMO.model_copy(update={"revisions": (*DEMO.revisions, revision)})
    first = needs(changed)[0]
    assert (first.task, first.chain, first.words) == ("recheck", "playfield", "Recheck Playfield")
    assert "not looked at since it was changed" in first.detail


def test_pixels_past_those_the_map_knows_are_unseen_too() -> None:
    map_ = op.add_chain(op.new_map("Any"), Chain(id="a", name="A", output=0, count=5))
    assert needs(map_) == (Need("walk", "Walk A", "5 pixels unseen", "a", 0),)


@pytest.mark.slow
@given(maps())
def test_any_map_has_needs_that_lead_somewhere(map_: PlayfieldMap) -> None:
    for need in needs(map_):
        assert need.words
        assert need.task in {"recheck", "table", "walk", "lamps", "plan", "prove"}
        assert need.chain is None or need.chain in map_.chain_by_id
        assert need.number is None or 0 <= need.number < 65_536


def to_write(map_: PlayfieldMap, in_board: int | None) -> list[str]:
    items = worklist(map_, in_board=in_board, seen="2025-05-01T12:00:00Z")
    return [item.need.detail for item in items if item.need.task == "board"]


def test_a_table_in_the_board_that_is_not_the_maps_is_to_be_written_anew() -> None:
    crc = board_table(DEMO).crc
    assert to_write(DEMO, None) == ["tick it off once the board has this table"], "nobody has looked"
    assert to_write(DEMO, crc) == []
    changed = op.update_place(DEMO, DEMO.places[0].model_copy(update={"level": 7}))
    assert to_write(changed, crc) == ["the map has changed since the board was looked at on 1 May 2025"]
    renamed = op.update_place(DEMO, DEMO.places[0].model_copy(update={"label": "Kraken"}))
    assert to_write(renamed, crc) == [], "names are not in the table"


@pytest.mark.parametrize(
    ("time", "zone", "date", "minute"),
    [
        ("2026-11-03T23:30:00Z", UTC, "3 Nov 2026", "3 Nov 2026, 23:30"),
        ("2026-11-03T23:30:00Z", timezone(timedelta(hours=2)), "4 Nov 2026", "4 Nov 2026, 01:30"),
        ("2026-01-01T00:05:00+00:00", timezone(timedelta(hours=-5)), "31 Dec 2025", "31 Dec 2025, 19:05"),
        ("2026-11-03", timezone(timedelta(hours=-5)), "3 Nov 2026", "3 Nov 2026"),
        ("", UTC, "", ""),
        ("[/x] yesterday", UTC, "[/x] yesterday", "[/x] yesterday"),
        ("0001-01-01T00:00:00Z", timezone(timedelta(hours=-5)), "0001-01-01T00:00:00Z", "0001-01-01T00:00:00Z"),
    ],
)
def test_times_are_shown_as_local_dates(time: str, zone: tzinfo, date: str, minute: str) -> None:
    assert local_date(time, zone=zone) == date
    assert local_minute(time, zone=zone) == minute
