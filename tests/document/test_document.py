"""The one open map: what is committed, undone, revised, saved and rescued, and in which order."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import textwrap
from dataclasses import dataclass
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from probe.document import operations as op
from probe.document.diff import diff
from probe.document.document import MOST_UNDO, Document, SaveJob, Scope, Travelled, Unsaved, rescue_folders
from probe.document.edits import Insert, renumber
from probe.document.file import CannotSaveError, FileInUseError, MapFile, demo_map_path, load_map
from probe.document.model import Chain, PixelState, PlayfieldMap
from probe.document.model.change import Change, What
from probe.document.model.open_recheck import OpenRecheck
from probe.document.revisions import at_revision, base_of, revised, session_closed
from tests.document.file.disks import FailingDisk, names_in
from tests.support.examples import examples

NOW = "2026-03-01T19:30:00Z"
HALF = load_map(demo_map_path("kelp_forest_half.json"))
RECORDS = tuple(f"note {n}" for n in range(4))


def blank() -> PlayfieldMap:
    map_ = op.new_map("Kelp Forest")
    for output, name in enumerate(("a", "b")):
        map_ = op.set_count(op.add_chain(map_, Chain(id=name, name=name.upper(), output=output)), name, 5)
    return map_


def noted(map_: PlayfieldMap, number: int, note: str) -> PlayfieldMap:
    return op.set_note(map_, "a", number, note)


def same(one: PlayfieldMap, other: PlayfieldMap) -> bool:
    return diff(one, other) == ()


def in_memory(map_: PlayfieldMap | None = None) -> Document:
    return Document.in_memory(blank() if map_ is None else map_, now_text=lambda: NOW)


def on_disk(folder: Path, map_: PlayfieldMap = HALF, **more: object) -> Document:
    path = folder / "kelp.json"
    made = Document.new(path, now_text=lambda: NOW)
    made.commit(map_)
    made.save_now()
    made.release()
    return Document.open(path, now_text=lambda: NOW, **more)  # type: ignore[arg-type]


def job_of(document: Document) -> SaveJob:
    job = document.save_job()
    assert job is not None
    return job


def save_with(document: Document, error: Exception) -> None:
    document.finished(job_of(document), error)


NO_ROOM = CannotSaveError(Path("kelp.json"), "no room", "Make room")


# -- commits and undo ---------------------------------------------------------------------------------------------------


def test_a_commit_is_pending_and_can_be_taken_back_and_done_again() -> None:
    document = in_memory()
    first = document.map
    document.commit(noted(first, 0, "brittle"), "note", where=("a", 0))
    second = document.map
    assert [change.key for change in second.pending] == [first.chain("a").pixels[0].id]
    assert (document.can_undo, document.can_redo) == (True, False)
    assert document.undo(where=("b", 4)) == Travelled(True, "note", ("a", 0))
    assert document.map is first
    assert document.redo(where=("a", 1)) == Travelled(True, "note", ("b", 4))
    assert document.map is second
    assert document.undo() == Travelled(True, "note", ("a", 1))


def test_a_map_that_says_the_same_changes_nothing() -> None:
    document = in_memory()
    version = document.version
    document.commit(document.map)
    document.commit(document.map.model_copy())
    assert (document.version, document.can_undo) == (version, False)


def test_every_change_makes_a_new_version() -> None:
    document = in_memory()
    seen = [document.version]
    document.commit(noted(document.map, 0, "one"))
    seen.append(document.version)
    document.undo()
    seen.append(document.version)
    document.redo()
    seen.append(document.version)
    document.close()
    seen.append(document.version)
    assert seen == sorted(set(seen))


def test_a_new_commit_leaves_nothing_to_do_again() -> None:
    document = in_memory()
    document.commit(noted(document.map, 0, "one"))
    document.undo()
    document.commit(noted(document.map, 0, "two"))
    assert not document.can_redo
    assert document.redo() == Travelled(False, "nothing to redo")


def test_the_oldest_of_too_many_commits_go_but_stay_in_the_revision() -> None:
    document = in_memory()
    first = document.map
    for count in range(MOST_UNDO + 3):
        document.commit(noted(document.map, 0, f"note {count}"))
    undone = 0
    while document.undo().changed:
        undone += 1
    assert undone == MOST_UNDO
    assert document.map.chain("a").pixels[0].note == "note 2"
    assert document.undo().changed  # asked above
    assert same(document.map, first)


def test_without_anything_there_is_nothing_to_undo_or_redo() -> None:
    for document in (in_memory(), Document.in_memory(), Document.new("kelp.json")):
        assert (document.can_undo, document.can_redo) == (False, False)
        assert document.undo() == Travelled(False, "nothing to undo")
        assert document.redo() == Travelled(False, "nothing to redo")


def test_a_document_without_a_map_says_so() -> None:
    document = Document.in_memory()
    assert not document.has_map
    with pytest.raises(LookupError, match="no map yet"):
        document.map  # noqa: B018


# -- beyond the session -------------------------------------------------------------------------------------------------


def closed_twice() -> Document:
    document = in_memory()
    for note in ("one", "two"):
        document.commit(noted(document.map, 0, note))
        document.close(f"Noted {note}")
    return document


def test_beyond_the_session_a_revision_is_taken_back_when_asked_twice() -> None:
    document = closed_twice()
    words = "nothing of this session is left: the same key once more to take back revision 2 (Noted two)"
    assert document.undo() == Travelled(False, words)
    assert document.undo() == Travelled(True, "Undone: revision 2, Noted two")
    assert document.map.chain("a").pixels[0].note == "one"
    assert [r.reason for r in document.map.revisions] == ["Noted one", "Noted two", "Undone: revision 2, Noted two"]
    words = "nothing of this session is left: the same key once more to do revision 2 (Noted two) again"
    assert document.redo() == Travelled(False, words)
    assert document.redo() == Travelled(True, "Done again: revision 2, Noted two")
    assert document.map.chain("a").pixels[0].note == "two"


def test_the_question_is_forgotten_by_whatever_comes_between() -> None:
    document = closed_twice()
    asked = document.undo()
    document.forget_question()
    assert document.undo() == asked
    document.redo()
    assert document.undo() == asked
    document.commit(noted(document.map, 1, "between"))
    assert document.undo().changed  # of the commit
    assert document.undo() == asked
    document.close()
    assert document.undo().changed


def test_a_note_outside_of_the_revisions_makes_it_ask_again_too() -> None:
    document = closed_twice()
    for _ in range(2):
        document.undo()
    asked = document.redo()
    document.commit(op.set_bookmark(document.map, "a", 1))
    assert document.redo() == asked


def test_a_session_that_was_never_closed_is_taken_back_as_a_whole(tmp_path: Path) -> None:
    document = on_disk(tmp_path, blank())
    first = document.map
    for number in range(3):
        document.commit(noted(document.map, number, "brittle"))
    document.save_now()
    document.release()
    document = Document.open(tmp_path / "kelp.json", now_text=lambda: NOW)
    assert document.can_undo
    assert "take back revision 1 (Pixels noted about: A)" in document.undo().words
    assert document.undo().changed
    assert same(document.map, first)
    assert len(document.map.revisions) == 2


def test_a_revision_that_does_not_fit_any_more_is_refused_in_words() -> None:
    made = session_closed(closed_twice().map, time=NOW)
    elsewhere = made.model_copy(update={"chains": noted(made, 0, "by hand").chains})
    document = in_memory(elsewhere)
    for _ in range(3):
        travelled = document.undo()
        assert not travelled.changed
        assert "not as this change left it" in travelled.words
    assert document.map is elsewhere


def test_a_revision_that_does_not_say_what_it_changed_is_refused_in_words() -> None:
    made = closed_twice().map
    bare = tuple(revision.model_copy(update={"diff": ()}) for revision in made.revisions)
    document = in_memory(made.model_copy(update={"revisions": bare}))
    assert not document.can_undo
    assert "does not say what it changed" in document.undo().words
    assert "does not say what it changed" in document.undo().words


def with_answers(map_: PlayfieldMap, *declared: str) -> PlayfieldMap:
    kept = OpenRecheck(chain=map_.chains[0].id, begun="2026-03-01T19:30:00Z", rests_on="0" * 16, declared=declared)
    return map_.model_copy(update={"rechecks": (kept,) if declared else ()})


def test_answers_of_an_unfinished_recheck_are_no_change_to_take_back() -> None:
    document = in_memory()
    before = document.map
    document.commit(noted(document.map, 3, "one"), "one")
    document.undo()
    document.commit(with_answers(document.map, "took out #3"))
    document.redo()
    assert document.map.rechecks, "an answer leaves what can be done again, and is left by it"
    assert not same(document.map, before)
    document.commit(with_answers(document.map, "took out #3", "took out #5"))
    document.commit(noted(document.map, 4, "two"), "two")
    assert [document.undo().words for _ in range(2)] == ["two", "one"]
    assert same(document.map, before)
    assert document.map.rechecks[0].declared == ("took out #3", "took out #5")
    document.commit(with_answers(document.map))
    assert document.map.rechecks == ()


def test_a_commit_that_brings_a_revision_is_undone_as_one() -> None:
    document = in_memory()
    document.commit(noted(document.map, 0, "one"))
    before = document.map
    closed = session_closed(before, time=NOW)
    document.commit(renumber(closed, [Insert(chain="a", after=1, count=2)], time=NOW, reason="Two new"), "two new")
    assert "take back revision 2 (Two new)" in document.undo().words
    assert document.undo().changed
    assert same(document.map, before)
    assert len(document.map.revisions) == 3
    document.commit(noted(document.map, 1, "later"))
    assert same(base_of(document.map), before)


# -- closing and scopes -------------------------------------------------------------------------------------------------


def test_closing_makes_one_revision_of_what_is_pending() -> None:
    document = in_memory()
    document.close("nothing happened")
    assert not document.map.revisions
    document.commit(noted(document.map, 0, "one"))
    document.commit(noted(document.map, 1, "two"))
    document.close()
    assert [r.reason for r in document.map.revisions] == ["Pixels noted about: A"]
    assert document.map.pending == ()
    assert document.map.revisions[0].time == NOW


def test_a_scope_is_a_revision_apart_from_what_came_before_it() -> None:
    document = in_memory()
    document.commit(noted(document.map, 0, "before"))
    scope = document.scope("lamps")
    document.commit(op.set_state(document.map, "b", 1, PixelState.SPARE), "spare")
    scope.end("Spares")
    assert [r.reason for r in document.map.revisions] == ["Pixels noted about: A", "Spares"]
    assert document.map.pending == ()
    version = document.version
    scope.end("Twice")
    assert document.version == version
    assert "take back revision 2 (Spares)" in document.undo().words


def test_a_scope_that_changed_nothing_leaves_the_session_as_it_is() -> None:
    document = in_memory()
    document.commit(noted(document.map, 0, "before"), "before")
    map_ = document.map
    scope = document.scope("lamps")
    document.commit(op.set_state(document.map, "b", 1, PixelState.SPARE))
    document.undo()
    scope.end()
    assert document.map is map_
    assert document.undo() == Travelled(True, "before")


def test_scopes_may_stand_in_one_another() -> None:
    document = in_memory()
    outer = document.scope("recheck")
    document.commit(noted(document.map, 0, "outer"))
    inner = document.scope("lamps")
    document.commit(noted(document.map, 1, "inner"))
    inner.end("Inner")
    document.commit(noted(document.map, 2, "outer again"))
    outer.end("Outer")
    assert [r.reason for r in document.map.revisions] == ["Pixels noted about: A", "Inner", "Outer"]
    assert document.map.pending == ()


def test_a_map_that_is_made_within_a_scope_begins_its_history_with_its_end() -> None:
    document = Document.in_memory(now_text=lambda: NOW)
    scope = document.scope("set up")
    document.commit(op.new_map("Kelp Forest"))
    document.commit(blank())
    assert document.map.pending
    scope.end()
    assert (document.map.revisions, document.map.pending) == ((), ())
    assert same(document.map, blank())
    assert not document.can_undo


# -- saving -------------------------------------------------------------------------------------------------------------


def test_a_map_is_on_disk_once_its_job_was_run(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    assert document.is_saved
    assert document.save_job() is None
    document.commit(op.set_note(document.map, "playfield", 3, "brittle"))
    assert (document.is_saved, document.saved_version) == (False, document.version - 1)
    job = job_of(document)
    job.run()
    assert not document.is_saved  # nobody has said so yet
    document.finished(job, None)
    assert document.is_saved
    assert load_map(document.path) == document.map
    document.release()


def test_one_job_is_out_at_a_time_and_the_next_has_what_came_meanwhile(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "one"))
    job = job_of(document)
    document.commit(op.set_note(document.map, "playfield", 4, "two"))
    assert document.save_job() is None
    job.run()
    document.finished(job, None)
    assert document.saved_version == document.version - 1
    second = job_of(document)
    second.run()
    document.finished(second, None)
    assert document.is_saved
    with pytest.raises(ValueError, match="not the one that is out"):
        document.finished(job, None)
    document.release()


def test_after_a_failed_save_only_a_commit_or_a_retry_tries_again(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "one"))
    save_with(document, NO_ROOM)
    assert document.save == Unsaved(str(NO_ROOM))
    assert document.save_job() is None
    document.retry()
    save_with(document, NO_ROOM)
    document.commit(op.set_note(document.map, "playfield", 4, "two"))
    save_with(document, OSError(errno.EIO, "gone"))
    assert isinstance(document.save, Unsaved)
    assert "gone" in document.save.why
    document.save_now()
    assert document.is_saved
    assert not isinstance(document.save, Unsaved)
    assert load_map(document.path) == document.map
    document.release()


def test_what_came_while_a_save_failed_is_tried_by_itself(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "one"))
    job = job_of(document)
    document.commit(op.set_note(document.map, "playfield", 4, "two"))
    document.finished(job, NO_ROOM)
    assert job_of(document).map is document.map


def test_undo_back_to_what_is_on_disk_is_saved_as_well(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "one"))
    document.save_now()
    document.undo()
    assert not document.is_saved
    document.save_now()
    assert load_map(document.path) == HALF
    document.release()


def test_a_new_file_is_made_by_the_first_save_and_only_if_there_is_none(tmp_path: Path) -> None:
    path = tmp_path / "new" / "kelp.json"
    one, other = (Document.new(path, now_text=lambda: NOW) for _ in range(2))
    for document in (one, other):
        assert document.save_job() is None
        document.commit(op.set_note(HALF, "playfield", 3, str(document is one)))
    assert not path.exists()
    one.save_now()
    with pytest.raises(FileInUseError):
        other.save_now()
    one.release()
    with pytest.raises(CannotSaveError, match="there is a file already"):
        other.save_now()
    assert isinstance(other.save, Unsaved)
    assert other.save.in_conflict
    other.save_over()
    other.save_now()
    assert other.theirs == tmp_path / "new" / "kelp.theirs.json"
    assert (load_map(other.theirs), load_map(path)) == (one.map, other.map)
    other.release()


def test_in_memory_nothing_is_ever_unsaved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    document = in_memory()
    document.commit(noted(document.map, 0, "one"))
    assert document.is_saved
    assert document.save_job() is None
    document.save_now()
    assert document.rescue("no reason").lines == ()
    for ask in (document.save_over, lambda: document.save_as("kelp.json")):
        with pytest.raises(CannotSaveError):
            ask()
    document.release()
    assert names_in(tmp_path) == set()


def test_the_file_is_locked_before_it_is_read_and_until_it_is_let_go(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    with pytest.raises(FileInUseError):
        Document.open(document.path)
    document.release()
    document.release()
    Document.open(document.path).release()


WRITER = textwrap.dedent("""
    import sys, time
    from probe.document import operations as op
    from probe.document.document import Document
    document = Document.open(sys.argv[1])
    print("open", flush=True)
    time.sleep(0.3)
    document.commit(op.set_note(document.map, "playfield", 3, "theirs"))
    document.close("Theirs")
    document.save_now()
    document.release()
""")


@pytest.mark.slow
def test_who_waits_reads_what_the_other_program_wrote(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.release()
    with subprocess.Popen([sys.executable, "-c", WRITER, document.path], stdout=subprocess.PIPE, text=True) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        waited = Document.open(document.path, wait_s=20.0)
    assert [r.reason for r in waited.map.revisions][-1] == "Theirs"
    waited.release()


# -- conflicts, other places, rescue ------------------------------------------------------------------------------------


def changed_elsewhere(document: Document) -> bytes:
    theirs = Path(document.path).read_bytes().replace(b"Kelp Forest", b"Kelp Meadow", 1)
    Path(document.path).write_bytes(theirs)
    return theirs


def test_saving_over_keeps_the_version_of_the_other_program(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    theirs = changed_elsewhere(document)
    with pytest.raises(CannotSaveError):
        document.save_now()
    assert isinstance(document.save, Unsaved)
    assert document.save.in_conflict
    assert document.save.why.startswith("Save over it")
    assert Path(document.path).read_bytes() == theirs
    (tmp_path / "kelp.theirs.json").write_text("something kept earlier")
    document.save_over()
    document.save_now()
    assert document.is_saved
    assert document.theirs == tmp_path / "kelp.theirs-2.json"
    assert document.theirs.read_bytes() == theirs
    assert (tmp_path / "kelp.theirs.json").read_text() == "something kept earlier"
    assert load_map(document.path) == document.map
    document.commit(op.set_note(document.map, "playfield", 4, "ours too"))
    document.save_now()
    assert load_map(document.path) == document.map
    document.release()


def test_saving_under_another_name_goes_on_there(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    old = document.path
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    theirs = changed_elsewhere(document)
    with pytest.raises(CannotSaveError):
        document.save_now()
    (tmp_path / "taken.json").write_text("somebody's")
    with pytest.raises(CannotSaveError, match="there is a file already"):
        document.save_as(tmp_path / "taken.json")
    with pytest.raises(FileInUseError):
        document.save_as(old)
    document.save_as(tmp_path / "other.json")
    assert document.path == old
    document.save_now()
    assert document.path == str(tmp_path / "other.json")
    assert document.is_saved
    assert Path(old).read_bytes() == theirs
    assert load_map(document.path) == document.map
    with pytest.raises(FileInUseError):
        Document.open(document.path)
    Document.open(old).release()
    document.release()
    Document.open(document.path).release()


def test_a_name_that_fails_too_leaves_the_document_where_it_was(tmp_path: Path) -> None:
    disk = FailingDisk()
    document = on_disk(tmp_path, disk=disk)
    old = document.path
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    changed_elsewhere(document)
    with pytest.raises(CannotSaveError):
        document.save_now()
    document.save_as(tmp_path / "other.json")
    disk.calls.clear()
    disk.fails_at, disk.error = 1, OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    with pytest.raises(CannotSaveError, match="No space"):
        document.save_now()
    assert document.path == old
    assert isinstance(document.save, Unsaved)
    assert document.save.in_conflict
    document.save_as(tmp_path / "other.json")  # nobody holds it
    document.save_now()
    assert document.path == str(tmp_path / "other.json")
    document.release()


def test_another_name_while_a_save_is_out(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    document.save_as(tmp_path / "slow.json")
    job = job_of(document)
    document.save_as(tmp_path / "quick.json")
    job.run()
    document.finished(job, None)
    document.save_now()
    assert document.path == str(tmp_path / "quick.json")
    for name in ("slow.json", "quick.json"):
        assert load_map(tmp_path / name) == document.map
    Document.open(tmp_path / "slow.json").release()
    document.release()


def test_an_unsaved_map_is_rescued_to_the_first_folder_that_takes_it(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    save_with(document, NO_ROOM)
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    folders = [blocked / "state", tmp_path / "state", tmp_path / "temporary"]
    first, second = (document.rescue("the disk is full", folders=folders) for _ in range(2))
    assert first.path == tmp_path / "state" / "kelp.rescue-20260301T193000Z.json"
    assert second.path == tmp_path / "state" / "kelp.rescue-20260301T193000Z-2.json"
    assert first.path.stat().st_mode & 0o777 == 0o600
    assert not (tmp_path / "temporary").exists()
    assert "the disk is full" in first.lines[0]
    assert str(first.path) in "".join(first.lines)
    again = Document.open(first.path)
    assert again.map == document.map
    again.release()
    document.release()


def test_where_nothing_can_be_written_the_answers_are_lines(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    map_ = op.set_note(document.map, "playfield", 3, "ours [/x]")
    map_ = op.set_state(map_, "playfield", 4, PixelState.SPARE)
    document.commit(map_.model_copy(update={"machine": map_.machine.model_copy(update={"name": "Kelp Meadow"})}))
    save_with(document, NO_ROOM)
    blocked = tmp_path / "file"
    blocked.write_text("no folder")
    rescue = document.rescue("the disk is full", folders=[blocked / "state"])
    assert rescue.path is None
    words = "\n".join(rescue.lines)
    for wanted in ("the disk is full", "Playfield 3 (4th): ", "ours [/x]", "Playfield 4 (5th): spare", "Kelp Meadow"):
        assert wanted in words
    assert "Playfield 5 " not in words
    document.release()


def test_the_answers_of_a_map_that_was_never_saved_are_lines_too(tmp_path: Path) -> None:
    document = Document.new(tmp_path / "file" / "kelp.json", now_text=lambda: NOW)
    document.commit(op.set_state(blank(), "b", 1, PixelState.DARK))
    (tmp_path / "file").write_text("no folder")
    rescue = document.rescue("there is no such folder", folders=[])
    assert any("B 1 (2nd): dark" in line for line in rescue.lines)


def test_what_is_saved_needs_no_rescue(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    assert document.rescue("the terminal is gone", folders=[tmp_path]) == type(document.rescue(""))()
    document.release()


def test_a_rescue_looks_for_a_place_in_the_agreed_order(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "temporary"))
    assert rescue_folders() == (tmp_path / "state" / "playfield-probe", tmp_path / "temporary", Path("/dev/shm"))


# -- all of it together -------------------------------------------------------------------------------------------------


@dataclass
class Stack:
    """What the machine below expects: maps before and after, with their words."""

    past: list[tuple[PlayfieldMap, str]]
    future: list[tuple[PlayfieldMap, str]]


class Evenings(RuleBasedStateMachine):
    """Commits, undo, redo, scopes, closes, crashes and failing saves; beside it the map at every revision."""

    @initialize()
    def begin(self) -> None:
        self.closed = [blank()]
        self.disk = self.closed[0]
        self.words = 0
        self.begin_with(self.closed[0])

    def begin_with(self, map_: PlayfieldMap) -> None:
        self.document = Document(map_, "kelp.json", None, None, lambda: NOW)
        self.stack = Stack([], [])
        self.scopes: list[Scope] = []
        self.out: SaveJob | None = None

    def grown(self, *, at_most: int = 1) -> None:
        """Note the revisions that came; the stack is empty then."""
        map_ = self.document.map
        added = len(map_.revisions) - len(self.closed) + 1
        assert 0 <= added <= at_most
        if added:
            self.closed += [at_revision(map_, r.number) for r in map_.revisions[-added:]]
            self.stack = Stack([], [])

    def commit(self, map_: PlayfieldMap) -> None:
        before = self.document.map
        self.words += 1
        self.document.commit(map_, f"words {self.words}")
        if map_ != before:
            self.stack.past.append((before, f"words {self.words}"))
            self.stack.future.clear()

    @rule(number=st.integers(0, 4), note=st.sampled_from(RECORDS))
    def note(self, number: int, note: str) -> None:
        self.commit(noted(self.document.map, number, note))

    @rule(number=st.integers(0, 4), state=st.sampled_from([PixelState.DARK, PixelState.SPARE]))
    def answer(self, number: int, state: PixelState) -> None:
        self.commit(op.set_state(self.document.map, "b", number, state))

    @rule(number=st.integers(0, 4))
    def splice(self, number: int) -> None:
        closed = session_closed(self.document.map, time=NOW)
        self.document.commit(renumber(closed, [Insert(chain="a", after=number, count=1)], time=NOW, reason="Spliced"))
        self.grown(at_most=2)

    @rule()
    def undo(self) -> None:
        self.travel(self.stack.past, self.stack.future, redo=False)

    @rule()
    def redo(self) -> None:
        self.travel(self.stack.future, self.stack.past, redo=True)

    def travel(
        self, back: list[tuple[PlayfieldMap, str]], forth: list[tuple[PlayfieldMap, str]], *, redo: bool
    ) -> None:
        self.document.forget_question()
        now = self.document.map
        travelled = self.document.redo() if redo else self.document.undo()
        if not back:
            assert not travelled.changed
            assert self.document.map is now
            return
        map_, words = back.pop()
        forth.append((now, words))
        assert travelled == Travelled(True, words)
        assert self.document.map == map_

    @precondition(lambda self: not self.stack.past and self.document.can_undo)
    @rule()
    def undo_revision(self) -> None:
        self.document.forget_question()
        assert not self.document.undo().changed
        assert self.document.undo().changed
        self.grown(at_most=2)

    @rule()
    def close(self) -> None:
        pending = bool(self.document.map.pending)
        self.document.close()
        self.grown(at_most=int(pending))
        assert self.document.map.pending == ()

    @rule()
    def enter(self) -> None:
        self.scopes.append(self.document.scope("task"))

    @precondition(lambda self: self.scopes)
    @rule()
    def leave(self) -> None:
        before = self.document.map
        self.scopes.pop().end()
        assert same(before, self.document.map)
        self.grown(at_most=2)

    @precondition(lambda self: self.out is None)
    @rule()
    def begin_to_save(self) -> None:
        self.out = self.document.save_job()
        assert self.out is None or self.out.map is self.document.map

    @precondition(lambda self: self.out is not None)
    @rule(fails=st.booleans())
    def end_saving(self, fails: bool) -> None:
        job, self.out = self.out, None
        assert job is not None
        if not fails:
            self.disk = job.map
            job.file = cast("MapFile", SimpleNamespace(path=job.path, theirs=None))
        self.document.finished(job, NO_ROOM if fails else None)
        assert isinstance(self.document.save, Unsaved) == fails

    @rule()
    def killed_and_opened_again(self) -> None:
        self.closed = self.closed[: len(self.disk.revisions) + 1]
        self.begin_with(self.disk)

    @invariant()
    def what_is_pending_leads_back_to_the_last_revision(self) -> None:
        assert same(base_of(self.document.map), self.closed[-1])

    @invariant()
    def every_revision_can_be_seen_again(self) -> None:
        for number, wanted in enumerate(self.closed):
            assert same(at_revision(self.document.map, number), wanted)

    @invariant()
    def saved_means_on_disk(self) -> None:
        assert not self.document.is_saved or same(self.disk, self.document.map)


TestEvenings = Evenings.TestCase
TestEvenings.settings = settings(max_examples=examples(60), stateful_step_count=25)


def test_a_revision_made_meanwhile_is_no_part_of_another_scope() -> None:
    document = in_memory()
    scope = document.scope("recheck")
    before = document.map
    document.commit(revised(before, noted(before, 0, "one"), time=NOW, reason="Made by the task"))
    scope.end("never")
    assert [r.reason for r in document.map.revisions] == ["Made by the task"]


@pytest.mark.parametrize(
    "change",
    [
        Change(what=What.CHAIN, chain="a", key="a", before={"name": 7}, after={"name": "A"}),
        Change(what=What.PLACE, key="nobody", before={"id": 3}),
        Change(what=What.PIXEL, chain="a", key="a-1", before={"state": "nonsense"}, after={}),
    ],
    ids=lambda change: change.what.value,
)
def test_pending_changes_that_fit_nothing_are_refused_in_a_sentence(change: Change) -> None:
    with pytest.raises(ValueError, match="pending changes of this map do not fit") as refused:
        Document.in_memory(blank().model_copy(update={"pending": (change,)}))
    assert "\n" not in str(refused.value)


def test_where_the_other_version_is_kept_stays_known_in_another_file(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    changed_elsewhere(document)
    document.save_over()
    document.save_now()
    kept = document.theirs
    assert kept is not None
    document.save_as(tmp_path / "other.json")
    document.save_now()
    assert document.theirs == kept
    document.release()


def test_another_name_chosen_after_saving_over_replaces_nothing(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.commit(op.set_note(document.map, "playfield", 3, "ours"))
    document.save_over()
    other = tmp_path / "other.json"
    document.save_as(other)
    other.write_text("somebody else was faster")
    with pytest.raises(CannotSaveError):
        document.save_now()
    assert other.read_text() == "somebody else was faster"
    document.release()


def test_a_name_that_was_chosen_and_never_saved_is_let_go_of(tmp_path: Path) -> None:
    document = on_disk(tmp_path)
    document.save_as(tmp_path / "other.json")
    document.release()
    MapFile.claim(tmp_path / "other.json").close()
