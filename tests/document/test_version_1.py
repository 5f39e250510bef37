"""Maps and settings of version 1, as the program wrote them then: they open, are upgraded with the first change, and undo.

The files in version_1 were written by the program at its commit 47eba35: an evening of walking, splicing, lamps and
harness with a session left open, two rechecks that were not finished, and settings that name every command.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from probe.document import operations as op
from probe.document.change_words import change_lines
from probe.document.diff import diff
from probe.document.document import Document
from probe.document.file import DamagedFileError, MapFile, load_map
from probe.document.file.layout import render_map
from probe.document.model import FORMAT_VERSION, PlayfieldMap
from probe.document.revisions import at_revision, base_of, session_closed, undo
from probe.document.settings import RENAMED_COMMANDS, change_settings, load_settings, usable_keys
from probe.recheck.state import RecheckStage
from probe.recheck.task import RecheckTask, start
from probe.task.events import Take
from probe.ui.keys import all_keys
from tests.document.file.disks import names_in

HERE = Path(__file__).with_name("version_1")
NOW = "2026-04-01T19:30:00Z"
MAPS = ("evening.json", "recheck.json", "recheck_said.json")


def same(one: PlayfieldMap, other: PlayfieldMap) -> bool:
    return diff(one, other) == ()


@pytest.fixture(params=MAPS)
def path(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    return copied(request.param, tmp_path)


def copied(name: str, folder: Path) -> Path:
    return Path(shutil.copy(HERE / name, folder / "kelp.json"))


def test_it_opens_as_the_version_of_today_and_says_the_same(path: Path) -> None:
    old = json.loads(path.read_text(encoding="utf-8"))
    map_ = load_map(path)
    new = json.loads(render_map(map_))
    assert (old.pop("version"), new.pop("version")) == (1, FORMAT_VERSION)
    old.pop("rechecks", None)
    new.pop("rechecks", None)
    assert new == old


def test_opened_saved_and_left_it_is_still_the_old_file(path: Path) -> None:
    before, names = path.read_bytes(), {"kelp.json", ".kelp.json.lock"}
    document = Document.open(path)
    document.save_now()
    document.release()
    assert (path.read_bytes(), names_in(path.parent)) == (before, names)


def test_the_first_change_writes_the_new_version_and_keeps_the_old_file(path: Path) -> None:
    before = path.read_bytes()
    document = Document.open(path)
    for note in ("one", "two"):
        document.commit(op.set_note(document.map, "playfield", 0, note))
        document.save_now()
    document.release()
    assert path.with_name("kelp.v1.json").read_bytes() == before
    assert [name for name in names_in(path.parent) if ".v1" in name] == ["kelp.v1.json"]
    assert json.loads(path.read_text(encoding="utf-8"))["version"] == FORMAT_VERSION
    assert load_map(path) == document.map
    assert load_map(path.with_name("kelp.v1.json")).version == FORMAT_VERSION


def test_saving_what_was_read_is_no_change(path: Path) -> None:
    before = path.read_bytes()
    with MapFile.open(path) as file:
        file.save(file.map)
        assert path.read_bytes() == before
        file.save(op.set_note(file.map, "playfield", 0, "one"))
    assert path.with_name("kelp.v1.json").read_bytes() == before


def test_another_file_of_that_name_is_left_alone(path: Path) -> None:
    path.with_name("kelp.v1.json").write_text("somebody's")
    before = path.read_bytes()
    document = Document.open(path)
    document.commit(op.set_note(document.map, "playfield", 0, "one"))
    document.save_now()
    document.release()
    assert path.with_name("kelp.v1.json").read_text() == "somebody's"
    assert path.with_name("kelp.v1-2.json").read_bytes() == before


def test_its_revisions_undo_and_compare(tmp_path: Path) -> None:
    map_ = load_map(copied("evening.json", tmp_path))
    assert len(map_.revisions) > 5
    for older, newer in zip([None, *map_.revisions], map_.revisions, strict=False):
        before = at_revision(map_, older.number if older is not None else 0)
        after = at_revision(map_, newer.number)
        assert change_lines(before, after, diff(before, after)) == newer.changes
    closed = session_closed(map_, time=NOW)
    assert same(undo(closed, time=NOW), base_of(map_))
    for wanted in [*reversed([r.number for r in map_.revisions if r.undoes is None]), 0][1:]:
        closed = (
            undo(closed, time=NOW)
            if closed.revisions[-1].undoes is not None
            else undo(undo(closed, time=NOW), time=NOW)
        )
        assert same(closed, at_revision(map_, wanted))


def test_the_open_session_goes_on(tmp_path: Path) -> None:
    path = copied("evening.json", tmp_path)
    document = Document.open(path, now_text=lambda: NOW)
    begun = base_of(document.map)
    assert document.map.pending
    document.commit(op.set_note(document.map, "backbox", 2, "one"))
    document.close()
    assert document.map.revisions[-1].reason.startswith("Walked: Backbox")
    assert document.undo().words
    assert document.undo().changed
    assert same(document.map, begun)
    document.release()


def test_a_recheck_begins_anew_with_a_sentence(tmp_path: Path) -> None:
    document = Document.open(copied("recheck.json", tmp_path))
    assert document.notices == (
        "The recheck of Playfield that was not finished begins anew:"
        " 2 answers given to an earlier version of this program cannot be gone on with.",
    )
    assert document.map.rechecks == ()
    assert start(document.map, "playfield").stage is RecheckStage.DECLARE
    document.release()


def test_what_was_said_before_the_answers_of_a_recheck_is_offered(tmp_path: Path) -> None:
    document = Document.open(copied("recheck_said.json", tmp_path))
    (notice,) = document.notices
    assert notice.endswith("cannot be gone on with; the changes said before them are kept.")
    state = start(document.map, "playfield")
    assert state.stage is RecheckStage.OFFER
    found = RecheckTask().step(state, Take(), 0.0)
    assert found is not None
    state = found[0]
    assert (state.stage, state.declared) == (RecheckStage.DECLARE, ("1 new after Tide pool",))
    document.release()


def test_a_map_of_today_brings_no_notices(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(render_map(load_map(HERE / "evening.json")))
    document = Document.open(path)
    assert document.notices == ()
    document.release()


def test_the_settings_of_then_are_read_and_changed(tmp_path: Path) -> None:
    path = Path(shutil.copy(HERE / "settings.json", tmp_path))
    settings = load_settings(path)
    assert (settings.bell, settings.theme, settings.brightness_percent) == (False, "high-contrast", 40)
    port = settings.port_for("/home/reef/kelp.json")
    assert port is not None
    assert port.usb_serial == "KELP0001"
    changed = change_settings(lambda s: s.model_copy(update={"bell": True}), path)
    assert changed.keys == settings.keys


def test_every_name_a_command_had_then_is_known_now() -> None:
    known = {row.id for row in all_keys()}
    settings = load_settings(HERE / "settings.json")
    usable, sentences = usable_keys(settings.keys, known)
    assert sentences == ()
    assert set(usable) <= known
    assert set(RENAMED_COMMANDS.values()) <= known
    assert not set(RENAMED_COMMANDS) & known


def test_an_old_name_is_taken_for_the_new_one_unless_that_is_there_too() -> None:
    renamed = {"light.diffuser": "picture.diffuser", "light.undo": "picture.undo"}
    known = ["picture.diffuser", "picture.undo", "walk.undo"]
    keys = {"light.diffuser": "f5", "picture.undo": "f6", "light.undo": "f7", "walk.udno": "f8", "\x1b": "f9"}
    usable, sentences = usable_keys(keys, known, renamed)
    assert usable == {"picture.diffuser": "f5", "picture.undo": "f6"}
    assert len(sentences) == 2
    assert "no command is called 'walk.udno' (is 'walk.undo' meant?)" in sentences[0]
    assert "'\\x1b'" in sentences[1]


@pytest.mark.parametrize("version", ["true", "false", "[1]", "{}", "1.5", "-1"])
def test_no_other_kind_of_version_is_one(version: str, tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    text = (HERE / "recheck.json").read_text(encoding="utf-8")
    path.write_text(text.replace('"version": 1', f'"version": {version}'), encoding="utf-8")
    with pytest.raises(DamagedFileError, match="'version' has to be a number from 1 to 2") as caught:
        load_map(path)
    assert (caught.value.line, caught.value.field) == (3, "version")
