"""At every point where saving can fail or stop, the file holds the old or the new map, whole."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from probe.document import operations as op
from probe.document.file import CannotSaveError, MapFile, demo_map_path, load_map, previous_name, save_copy
from probe.document.file.atomic import remove_leftovers, replace_file
from probe.document.file.disk import Disk
from probe.document.file.layout import render_map
from probe.document.model import PlayfieldMap
from tests.document.file.disks import FailingDisk, FlippingDisk, ForgetfulDisk, NoLinksDisk, PowerCut, names_in
from tests.support.examples import first_now

OLD = load_map(demo_map_path("kelp_forest_half.json"))
NEW = op.set_note(OLD, "playfield", 50, "seen " * 50)
NEXT = op.set_note(NEW, "playfield", 51, "seen too")
PATH = Path("/folder/kelp.json")


def calls_of_a_save(folder: Path, disk: FailingDisk) -> list[str]:
    path = folder / "kelp.json"
    path.write_bytes(render_map(OLD))
    with MapFile.open(path, disk=disk) as file:
        disk.calls.clear()
        file.save(NEW)
    return disk.calls


def test_what_a_save_does_in_which_order(tmp_path: Path) -> None:
    assert calls_of_a_save(tmp_path, FailingDisk()) == [
        "remove", "create", "take_access", "write", "sync", "close",
        "remove", "link", "rename", "remove", "rename", "sync_folder",
    ]  # fmt: skip


STEPS = range(12)
ERRORS = [errno.ENOSPC, errno.EIO, errno.EACCES, errno.EROFS, errno.EDQUOT, errno.ENOENT]


@pytest.mark.parametrize("code", first_now(ERRORS), ids=lambda code: errno.errorcode[code])
@pytest.mark.parametrize("afterwards", [False, True])
@pytest.mark.parametrize("step", first_now(STEPS, now=5))
def test_any_call_may_fail_and_the_next_save_goes_through(
    step: int, afterwards: bool, code: int, tmp_path: Path
) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(render_map(OLD))
    disk = FailingDisk()
    with MapFile.open(path, disk=disk) as file:
        disk.calls.clear()
        disk.fails_at, disk.error, disk.afterwards = step, OSError(code, os.strerror(code)), afterwards
        try:
            file.save(NEW)
        except CannotSaveError as error:
            refusal: CannotSaveError | None = error
        else:
            refusal = None
        name = disk.calls[step]
        disk.fails_at = -1
        if refusal is None:
            # A failing second name is replaced by a copy; a spare name that cannot be removed is a leftover.
            assert name == "link" or (name, step) == ("remove", 9)
            assert file.map == load_map(path) == NEW
        else:
            assert os.strerror(code) in str(refusal)
            assert "still in memory" in refusal.hint
            assert file.map == OLD
            renamed = step == 11 or (step == 10 and afterwards)
            assert load_map(path) == (NEW if renamed else OLD)
        assert names_in(tmp_path) <= {
            "kelp.json", "kelp.json~", ".kelp.json.lock", ".kelp.json.holder", f".kelp.json.{os.getpid()}.old",
        } | ({f".kelp.json.{os.getpid()}.new"} if (name, afterwards) == ("create", True) else set())  # fmt: skip
        file.save(NEXT)
        assert load_map(path) == NEXT
        assert load_map(previous_name(path)) in (OLD, NEW)
    with MapFile.open(path) as file:
        assert file.map == NEXT
        assert names_in(tmp_path) == {"kelp.json", "kelp.json~", ".kelp.json.lock", ".kelp.json.holder"}


def test_a_map_whose_last_sync_failed_is_written_again(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(render_map(OLD))
    disk = FailingDisk()
    with MapFile.open(path, disk=disk) as file:
        disk.calls.clear()
        disk.fails_at, disk.error = 11, OSError(errno.EIO, os.strerror(errno.EIO))
        with pytest.raises(CannotSaveError):
            file.save(NEW)
        assert load_map(path) == NEW  # on the name, but nobody knows whether on the medium
        disk.calls.clear()
        disk.fails_at = -1
        file.save(NEW)
    assert disk.calls[-2:] == ["rename", "sync_folder"]


@pytest.mark.parametrize("afterwards", [False, True])
@pytest.mark.parametrize("step", first_now(STEPS, now=3))
def test_the_program_may_stop_at_any_call(step: int, afterwards: bool, tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(render_map(OLD))
    disk = FailingDisk()
    file = MapFile.open(path, disk=disk)
    disk.calls.clear()
    disk.fails_at, disk.error, disk.afterwards = step, PowerCut(), afterwards
    with pytest.raises(PowerCut):
        file.save(NEW)
    file.close()  # as the system does for a program that is gone
    renamed = step == 11 or (step == 10 and afterwards)
    assert load_map(path) == (NEW if renamed else OLD)
    with MapFile.open(path) as again:
        assert again.map == (NEW if renamed else OLD)
        again.save(NEXT)
    assert names_in(tmp_path) == {"kelp.json", "kelp.json~", ".kelp.json.lock"}
    assert load_map(path) == NEXT


@pytest.mark.parametrize("links", [True, False])
@pytest.mark.parametrize("earlier", [0, 1, 2])
def test_whatever_was_not_synced_may_be_lost_in_any_order(links: bool, earlier: int) -> None:
    """Small contents stand for maps here: what matters is which bytes a name can come to have."""
    cut_at = 0
    finished = False
    while not finished:
        disk = ForgetfulDisk(links)
        held: bytes | None = None
        for turn in range(earlier):
            held = b"map %d" % turn
            replace_file(disk, PATH, held, keep_previous=True)
        disk.cut_at = disk.calls + cut_at
        try:
            replace_file(disk, PATH, b"the new map", keep_previous=True)
            finished = True
        except PowerCut:
            pass
        states = set(disk.after_power_cut(PATH.name))
        if finished:
            assert states == {b"the new map"}
        else:
            assert states <= {held, b"the new map"}
        previous = set(disk.after_power_cut(PATH.name + "~"))
        known = {None, b"the new map"} | {b"map %d" % turn for turn in range(earlier)}
        assert previous <= known - {b"the new map"}
        cut_at += 1
    assert cut_at >= 8


def test_the_forgetful_disk_would_notice_a_missing_sync() -> None:
    class Careless(ForgetfulDisk):
        def sync(self, descriptor: int) -> None:
            self._tick()

    disk = Careless()
    replace_file(disk, PATH, b"map 0", keep_previous=True)
    assert b"" in set(disk.after_power_cut(PATH.name))

    class Forgetting(ForgetfulDisk):
        def sync_folder(self, folder: Path) -> None:
            self._tick()

    disk2 = Forgetting()
    replace_file(disk2, PATH, b"map 0", keep_previous=True)
    assert None in set(disk2.after_power_cut(PATH.name))


@pytest.mark.parametrize("disk", [Disk(), NoLinksDisk()])
def test_the_previous_file_is_kept_with_and_without_links(disk: Disk, tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    with MapFile.create(path, OLD, disk=disk) as file:
        assert not file.previous.exists()
        for before, after in ((OLD, NEW), (NEW, NEXT), (NEXT, OLD)):
            file.save(after)
            assert load_map(path) == after
            assert load_map(file.previous) == before


@pytest.mark.parametrize("at", [0.0, 0.3, 0.7, 1.0])
def test_a_bit_that_turns_over_on_the_way_to_disk_is_noticed_before_the_file_is_replaced(
    at: float, tmp_path: Path
) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(render_map(OLD))
    disk = FlippingDisk(at)
    with MapFile.open(path, disk=disk) as file:
        with pytest.raises(CannotSaveError, match=r"read back differently.*save on another"):
            file.save(NEW)
        assert path.read_bytes() == render_map(OLD)
        assert names_in(tmp_path) == {"kelp.json", ".kelp.json.lock", ".kelp.json.holder"}
        disk.flips = False
        file.save(NEW)
    assert load_map(path) == NEW


def test_leftovers_of_others_are_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    path.write_bytes(render_map(OLD))
    mine = [".kelp.json.123.new", ".kelp.json.9.old"]
    others = [".kelp.json.new", ".kelpxjson.1.new", ".kelp.json.1.new.bak", "kelp.json.1.new", ".reef.json.1.new"]
    for name in mine + others:
        (tmp_path / name).write_text("half a map", encoding="utf-8")
    with MapFile.open(path) as file:
        assert file.leftovers == tuple(sorted(mine))
    assert names_in(tmp_path) == {"kelp.json", ".kelp.json.lock", *others}
    assert remove_leftovers(Disk(), path) == ()


def test_an_export_is_there_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "kelp.csv"
    save_copy(path, b"old")
    for step in range(8):
        disk = FailingDisk(fails_at=step, error=OSError(errno.ENOSPC, "no space"))
        with pytest.raises(CannotSaveError, match=r"kelp\.csv.*no space"):
            save_copy(path, b"new content", disk=disk)
        assert path.read_bytes() in ((b"old",) if step < 7 else (b"new content",))
        assert names_in(tmp_path) == {"kelp.csv"}


def test_a_map_that_breaks_its_rules_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "kelp.json"
    unsound: PlayfieldMap = OLD.model_copy(update={"places": OLD.places[1:]})
    with MapFile.create(path, OLD) as file:
        with pytest.raises(CannotSaveError, match=r"breaks its own rules.*no place with id"):
            file.save(unsound)
        assert file.map == OLD
        file.save(NEW)
    assert load_map(path) == NEW
