"""A clock that goes backwards, stands still or is in another time zone: order comes from revisions' numbers, waits from a steady clock."""

from __future__ import annotations

import ast
import time
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.document import operations as op
from probe.document.document import Document
from probe.document.file import load_map
from probe.evenings.log import evenings
from tests.support.blank import blank_map_file

ROOT = Path(__file__).resolve().parents[2]
BACKWARDS = ("2026-03-29T02:30:00Z", "2026-03-29T01:10:00Z", "1970-01-01T00:00:00Z", "2026-03-28T23:59:59Z")
STILL = ("2026-03-29T02:30:00Z",) * 4
WALL_CLOCK = {"time.time", "time.localtime", "datetime.now", "datetime.today", "datetime.utcnow", "date.today"}
CLOCKS = {name.rpartition(".")[2] for name in WALL_CLOCK}
STAMPS = {
    "probe/cli/board_check.py",
    "probe/document/document.py",
    "probe/document/file/lock.py",
    "probe/document/file/trouble.py",
}
"""The modules that may ask what the time of day is: each writes it down for people, and decides nothing by it."""


@pytest.mark.parametrize("times", [BACKWARDS, STILL], ids=["backwards", "still"])
def test_changes_are_kept_undone_and_listed_in_the_order_in_which_they_came(
    times: tuple[str, ...], tmp_path: Path
) -> None:
    path = blank_map_file(tmp_path / "kelp.json", pixels=10)
    for number, moment in enumerate(times):
        document = Document.open(path, now_text=lambda: moment)  # noqa: B023  # called within this turn
        changed, place = op.add_place(document.map, f"Otter {number}")
        document.commit(op.assign_place(changed, "playfield", number, place.id))
        document.close()
        document.save_now()
        document.release()
    map_ = load_map(path)
    assert [revision.number for revision in map_.revisions] == [1, 2, 3, 4]
    assert [revision.time for revision in map_.revisions] == list(times)
    assert all(evening.minutes >= 0 for evening in evenings(map_))
    document = Document.open(path)
    document.undo()
    document.undo()  # beyond the session it is asked twice
    assert [place.label for place in document.map.places] == ["Otter 0", "Otter 1", "Otter 2"]
    document.release()


@pytest.mark.parametrize("zone", ["UTC", "Pacific/Kiritimati", "America/St_Johns", "no such zone"])
def test_any_time_zone(zone: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    with monkeypatch.context() as here:
        here.setenv("TZ", zone)
        time.tzset()
        for command in ("log", "revisions", "check", "worklist"):
            assert main([command, str(ROOT / "demo_maps" / "kelp_forest.json")]) in (0, 1)
            assert capsys.readouterr().err == ""
    time.tzset()


@pytest.mark.slow
def test_only_stamps_for_people_ask_for_the_time_of_day() -> None:
    found = {
        str(path.relative_to(ROOT))
        for folder in ("probe", "device_protocol")
        for path in (ROOT / folder).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call)
        and getattr(node.func, "attr", "") in CLOCKS
        and ast.unparse(node.func) in WALL_CLOCK
    }
    assert found == STAMPS
