"""Opening exclusively, keeping permissions and links, and noticing what others do to the file."""

from __future__ import annotations

import errno
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from probe.document import operations as op
from probe.document.file import (
    CannotSaveError,
    ChangedElsewhereError,
    DamagedFileError,
    FileInUseError,
    MapFile,
    StorageError,
    demo_map_path,
    load_map,
    lock,
)
from probe.document.file.atomic import named_after
from probe.document.file.layout import render_map
from tests.document.file.disks import names_in
from tests.support.examples import first_now

OLD = load_map(demo_map_path("kelp_forest_half.json"))
NEW = op.set_note(OLD, "playfield", 50, "seen")
HOLDER = """
import sys
from collections.abc import Callable
from probe.document.file import MapFile
file = MapFile.open(sys.argv[1])
print("open", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    made = tmp_path / "kelp.json"
    made.write_bytes(render_map(OLD))
    return made


def test_what_was_saved_is_what_opens(path: Path) -> None:
    with MapFile.open(path) as file:
        assert file.map == OLD
        file.save(NEW)
        assert file.map == NEW
    with MapFile.open(path) as file:
        assert file.map == NEW


@pytest.mark.slow
def test_a_second_program_is_told_who_has_it(path: Path) -> None:
    with subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdin is not None
        assert other.stdout.readline() == "open\n"
        with pytest.raises(
            FileInUseError,
            match=rf"open in process {other.pid} on computer .* since \d+ \w+ 20\d\d, \d\d:\d\d. Close it",
        ):
            MapFile.open(path)
        assert load_map(path) == OLD
        other.kill()
        other.wait()
    with MapFile.open(path) as file:  # a killed program holds nothing
        file.save(NEW)


def test_two_openings_in_one_program_are_two_too_many(path: Path, tmp_path: Path) -> None:
    (tmp_path / "other name.json").symlink_to(path)
    with MapFile.open(path) as file:
        for name in ("kelp.json", "other name.json"):
            with pytest.raises(FileInUseError, match="this same program"):
                MapFile.open(tmp_path / name)
        file.save(NEW)
    MapFile.open(path).close()


def test_a_refused_file_is_not_kept_locked(path: Path) -> None:
    path.write_text("{}", encoding="utf-8")
    for _ in range(2):
        with pytest.raises(DamagedFileError):
            MapFile.open(path)
    path.write_bytes(render_map(OLD))
    MapFile.open(path).close()


def test_a_closed_file_saves_nothing(path: Path) -> None:
    file = MapFile.open(path)
    file.close()
    file.close()
    with pytest.raises(CannotSaveError, match="closed"):
        file.save(NEW)
    assert load_map(path) == OLD


@pytest.mark.parametrize("mode", [0o600, 0o640, 0o664, 0o444])
def test_permissions_stay(path: Path, mode: int) -> None:
    path.chmod(mode)
    with MapFile.open(path) as file:
        file.save(NEW)
    assert stat.S_IMODE(path.stat().st_mode) == mode


def test_a_new_file_has_the_usual_permissions(tmp_path: Path) -> None:
    umask = os.umask(0o027)
    try:
        MapFile.create(tmp_path / "deep" / "er" / "kelp.json", OLD).close()
    finally:
        os.umask(umask)
    assert stat.S_IMODE((tmp_path / "deep" / "er" / "kelp.json").stat().st_mode) == 0o640


@pytest.mark.skipif(os.geteuid() != 0, reason="only the administrator can give files away")
def test_the_owner_stays(path: Path) -> None:
    os.chown(path, 1234, 4321)
    with MapFile.open(path) as file:
        file.save(NEW)
    assert (path.stat().st_uid, path.stat().st_gid) == (1234, 4321)


def test_a_symbolic_link_stays_one(path: Path, tmp_path: Path) -> None:
    folder = tmp_path / "links"
    folder.mkdir()
    link = folder / "kelp.json"
    link.symlink_to(Path("..") / "kelp.json")
    with MapFile.open(link) as file:
        assert file.path == path.resolve()
        file.save(NEW)
    assert link.is_symlink()
    assert load_map(path) == NEW
    assert names_in(folder) == {"kelp.json"}


def test_nothing_is_created_over_a_file(path: Path) -> None:
    with pytest.raises(CannotSaveError, match="there is a file already"):
        MapFile.create(path, NEW)
    assert load_map(path) == OLD
    MapFile.open(path).close()


def test_a_folder_that_cannot_be_made_is_named(path: Path) -> None:
    with pytest.raises(StorageError, match=r"Not a directory|File exists"):
        MapFile.create(path / "kelp.json", NEW)


def test_a_change_by_others_is_not_undone(path: Path) -> None:
    theirs = op.set_note(OLD, "playfield", 51, "written by an editor")
    with MapFile.open(path) as file:
        path.write_bytes(render_map(theirs))
        with pytest.raises(ChangedElsewhereError, match="another program wrote this file"):
            file.save(NEW)
        assert load_map(path) == theirs
        file.save(NEW, over=True)
        kept = file.theirs
        assert kept == path.with_name("kelp.theirs.json")
        assert load_map(path) == NEW
        assert load_map(file.previous) == load_map(kept) == theirs
        file.save(OLD)
        assert load_map(path) == OLD


def test_the_refusal_begins_with_what_to_do(path: Path) -> None:
    with MapFile.open(path) as file:
        path.write_bytes(render_map(NEW))
        with pytest.raises(
            ChangedElsewhereError, match=r"^Save over it .*kelp\.theirs\.json.* or under another name: "
        ):
            file.save(op.set_note(NEW, "playfield", 51, "ours"))


def touched(path: Path) -> None:
    os.utime(path, ns=(1, 1))


def copied_back(path: Path) -> None:
    content = path.read_bytes()
    path.unlink()
    path.write_bytes(content)


@pytest.mark.parametrize("touch", [touched, copied_back])
def test_a_touch_is_no_change(path: Path, touch: Callable[[Path], None]) -> None:
    with MapFile.open(path) as file:
        for map_ in (NEW, OLD, NEW):
            touch(path)
            file.save(map_)
            assert load_map(path) == map_
        touch(path)
        file.save(NEW)
        assert file.theirs is None


def test_the_same_words_from_elsewhere_are_no_conflict(path: Path) -> None:
    with MapFile.open(path) as file:
        path.write_bytes(render_map(NEW))
        file.save(NEW)
        file.save(OLD)
        assert load_map(path) == OLD


def test_every_version_of_somebody_else_is_kept_once(path: Path) -> None:
    with MapFile.open(path) as file:
        for count, note in enumerate(("one", "two", "two", "three")):
            theirs = op.set_note(OLD, "playfield", 51, note)
            path.write_bytes(render_map(theirs))
            file.save(op.set_note(NEW, "playfield", 52, f"ours {count}"), over=True)
            kept = file.theirs
            assert kept is not None
            assert load_map(kept) == theirs
    kept_names = {name for name in names_in(path.parent) if "theirs" in name}
    assert kept_names == {"kelp.theirs.json", "kelp.theirs-2.json", "kelp.theirs-3.json"}


@pytest.mark.parametrize("letter", first_now(["ø", "k", "🐙"]))
@pytest.mark.parametrize("length", [200, 230, 231, 232, 245, 248, 249, 250, 254, 255])
def test_any_name_the_disk_takes_can_be_saved(length: int, letter: str, tmp_path: Path) -> None:
    whole, more = divmod(length - len(".json"), len(letter.encode()))
    path = tmp_path / (letter * whole + "k" * more + ".json")
    MapFile.create(path, OLD).close()
    head = named_after(path, ".", "", room=24)
    head.with_name(head.name + ".77.new").write_text("what a crash left")
    with MapFile.open(path) as file:
        assert len(file.leftovers) == 1
        with pytest.raises(FileInUseError):
            MapFile.open(path)
        file.save(NEW)
        assert load_map(file.previous) == OLD
        path.write_bytes(render_map(OLD))
        file.save(op.set_note(NEW, "playfield", 52, "ours"), over=True)
        kept = file.theirs
        assert kept is not None
        assert load_map(kept) == OLD
    with MapFile.open(path) as file:
        assert file.leftovers == ()


def test_long_names_that_differ_at_the_end_do_not_share_what_is_beside_them(tmp_path: Path) -> None:
    one, other = (tmp_path / ("k" * 245 + letter + ".json") for letter in "ab")
    MapFile.create(one, OLD).close()
    with MapFile.create(other, OLD) as file, MapFile.open(one) as first:
        assert first.leftovers == ()
        assert file.previous != first.previous


def test_a_file_that_was_removed_is_written_again(path: Path) -> None:
    with MapFile.open(path) as file:
        path.unlink()
        file.save(OLD)
        assert load_map(path) == OLD


def test_the_same_map_again_writes_nothing(path: Path) -> None:
    with MapFile.open(path) as file:
        file.save(NEW)
        before = path.stat().st_ino
        file.save(op.set_note(NEW, "playfield", 50, "seen"))
        assert path.stat().st_ino == before
        assert load_map(file.previous) == OLD


def test_who_waits_for_the_lock_has_it_when_it_is_let_go(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    first = lock.ExclusiveLock(path)
    waits: list[float] = []

    def let_go(seconds: float) -> None:
        waits.append(seconds)
        first.release()

    monkeypatch.setattr("time.sleep", let_go)
    second = lock.ExclusiveLock(path, wait_s=60.0)
    assert len(waits) == 1
    with pytest.raises(FileInUseError, match="this same program"):
        lock.ExclusiveLock(path)
    second.release()
    second.release()
    lock.ExclusiveLock(path).release()


def test_a_lock_whose_file_was_removed_before_it_was_held_is_asked_for_again(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hold, removed = lock._hold, named_after(path, ".", ".lock")

    def hold_late(descriptor: int) -> None:
        monkeypatch.setattr(lock, "_hold", hold)
        removed.unlink()
        hold(descriptor)

    monkeypatch.setattr(lock, "_hold", hold_late)
    held = lock.ExclusiveLock(path)
    with pytest.raises(FileInUseError):
        lock.ExclusiveLock(path)
    held.release()


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_a_link_in_the_place_of_the_lock_is_not_followed(path: Path) -> None:
    target = path.with_name("precious")
    named_after(path, ".", ".lock").symlink_to(target)
    with pytest.raises(CannotSaveError, match="no lock can be made beside it"):
        lock.ExclusiveLock(path)
    assert not target.exists()


def test_a_lock_that_the_system_cannot_hold_is_said(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(descriptor: int) -> None:
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(lock, "_hold", refuse)
    with pytest.raises(CannotSaveError, match="No locks available"):
        lock.ExclusiveLock(path)
