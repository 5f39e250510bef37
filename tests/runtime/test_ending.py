"""The steps of an ending: their order, their time, and what is said; with disks and boards that hang."""

from __future__ import annotations

import asyncio
import signal
import threading
import time
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from probe.document import operations as op
from probe.document.document import Document
from probe.document.file import demo_map_path, load_map
from probe.document.file.disk import Disk
from probe.runtime.ending import (
    DARK_S,
    SAVE_S,
    Ended,
    Ending,
    Endings,
    EndingWork,
    Reason,
    rescue,
    run_blocking,
    save_document,
    save_hangs,
)

HALF = load_map(demo_map_path("kelp_forest_half.json"))
NOTE = "lies under the reef"
LEFT = Ending(Reason.LEFT)


class TroubledDisk(Disk):
    """Creates no file in some folders: it fails at once, or hangs until `release`."""

    def __init__(self) -> None:
        self.fails: set[Path] = set()
        self.hangs: set[Path] = set()
        self.attempts = 0
        self._go_on = threading.Event()

    def release(self) -> None:
        self._go_on.set()

    def create(self, path: Path, mode: int) -> int:
        self.attempts += 1
        if path.parent in self.hangs:
            self._go_on.wait(20)
        if path.parent in self.fails:
            raise OSError(28, "No space left on device")
        return super().create(path, mode)


@pytest.fixture
def disk() -> TroubledDisk:
    return TroubledDisk()


@pytest.fixture
def document(disk: TroubledDisk, tmp_path: Path) -> Document:
    """A map on disk, with one answer that is not."""
    made = Document.new(tmp_path / "kelp.json", disk=disk)
    made.commit(HALF)
    made.save_now()
    made.commit(op.set_note(made.map, HALF.chains[0].id, 3, NOTE))
    return made


async def nothing() -> None:
    """Done at once."""


async def for_ever() -> None:
    await asyncio.sleep(60)


def endings(
    *,
    darken: Callable[[], Awaitable[None]] = nothing,
    save: Callable[[], Awaitable[None]] = nothing,
    document: Document | None = None,
    folders: tuple[Path, ...] = (),
    ended: list[Ended] | None = None,
) -> Endings:
    work = EndingWork(darken=darken, save=save, document=lambda: document, folders=folders)
    made = Endings(work, on_ended=(ended if ended is not None else []).append)
    made.ready()
    return made


async def test_dark_then_saved_then_ended() -> None:
    order: list[str] = []

    async def darken() -> None:
        order.append("dark asked")
        await asyncio.sleep(0.05)
        order.append("dark")

    async def save() -> None:
        order.append("saved")

    work = EndingWork(darken=darken, save=save, document=lambda: None, folders=())
    made = Endings(work, on_ended=lambda ended: order.append("ended"))
    made.ready()
    await made.finish()
    assert order == ["dark asked", "dark", "saved", "ended"]
    assert made.ended == Ended(LEFT)


async def test_a_mute_board_and_a_disk_that_hangs_take_their_time_together() -> None:
    made = endings(darken=for_ever, save=for_ever)
    begin = time.monotonic()
    await made.finish()
    assert max(DARK_S, SAVE_S) - 0.1 < time.monotonic() - begin < DARK_S + SAVE_S
    assert made.ended == Ended(LEFT)


async def test_a_step_that_fails_keeps_none_after_it_from_being_taken(
    document: Document, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "logs"))

    async def wrong() -> None:
        raise ZeroDivisionError

    made = endings(darken=wrong, save=wrong, document=document, folders=(tmp_path / "state",))
    await made.finish()
    assert made.ended is not None
    assert made.ended.unsaved
    assert list((tmp_path / "state").glob("*rescue*"))
    assert "ZeroDivisionError" in (tmp_path / "logs" / "playfield-probe" / "log" / "trouble.log").read_text()


async def test_only_the_first_request_counts() -> None:
    ended: list[Ended] = []
    saves: list[int] = []

    async def save() -> None:
        saves.append(1)

    made = endings(save=save, ended=ended)
    made.request(Ending(Reason.SIGNAL, signal=signal.SIGTERM))
    made.request(LEFT)
    made.request_soon(Ending(Reason.TERMINAL_GONE))
    await made.finish()
    await asyncio.sleep(0.01)
    assert [one.ending.reason for one in ended] == [Reason.SIGNAL]
    assert saves == [1]


async def test_what_is_asked_before_the_loop_is_ready_begins_with_it() -> None:
    work = EndingWork(darken=nothing, save=nothing, document=lambda: None, folders=())
    made = Endings(work, on_ended=lambda ended: None)
    made.request_soon(Ending(Reason.SIGNAL, signal=signal.SIGINT))
    assert made.is_asked
    assert made.begun is None
    made.ready()
    assert made.begun == Ending(Reason.SIGNAL, signal=signal.SIGINT)
    await made.finish()


async def test_what_is_pending_is_saved_as_a_revision(document: Document, tmp_path: Path) -> None:
    await save_document(document)
    document.release()
    saved = load_map(tmp_path / "kelp.json")
    assert not saved.pending
    assert len(saved.revisions) == len(HALF.revisions) + 1
    assert rescue(document, (tmp_path,)) == ()


async def test_a_save_that_failed_is_tried_again_once(document: Document, disk: TroubledDisk, tmp_path: Path) -> None:
    disk.fails = {tmp_path}
    before = disk.attempts
    await save_document(document)
    assert disk.attempts == before + 2
    assert not document.is_saved
    disk.fails = set()
    await save_document(document)
    assert document.is_saved


async def test_a_save_that_is_out_is_waited_for_and_what_came_since_saved_too(document: Document) -> None:
    job = document.save_job()
    assert job is not None
    task = asyncio.create_task(save_document(document))
    await asyncio.sleep(0.05)
    assert not task.done()
    job.run()
    document.finished(job, None)
    await task
    assert document.is_saved


async def test_a_save_that_hangs_is_left_behind_and_the_answers_rescued(
    document: Document, disk: TroubledDisk, tmp_path: Path
) -> None:
    disk.hangs = {tmp_path, tmp_path / "state"}
    made = endings(
        save=lambda: save_document(document), document=document, folders=(tmp_path / "state", tmp_path / "temporary")
    )
    try:
        begin = time.monotonic()
        await made.finish()
        assert time.monotonic() - begin < 2.4
        assert save_hangs()
        assert made.ended is not None
        assert "did not answer" in made.ended.lines[0]
        (copy,) = (tmp_path / "temporary").glob("*rescue*")
        assert str(copy) in made.ended.lines[1]
        assert any(pixel.note == NOTE for pixel in load_map(copy).chains[0].pixels)
    finally:
        disk.release()
    async with asyncio.timeout(5):
        while save_hangs():  # noqa: ASYNC110 - threads set no event
            await asyncio.sleep(0.01)


def test_where_no_folder_takes_a_copy_each_is_named_and_the_answers_said(
    document: Document, disk: TroubledDisk, tmp_path: Path
) -> None:
    folders = (tmp_path / "state", tmp_path / "temporary")
    disk.fails, disk.hangs = {folders[0]}, {folders[1]}
    lines = "\n".join(rescue(document, folders, "the disk is full"))
    disk.release()
    assert f"{folders[0]}: No space left on device" in lines
    assert f"{folders[1]}: no answer" in lines
    assert "the disk is full" in lines
    assert NOTE in lines


async def test_giving_up_on_the_loop_rescues_without_it(document: Document, tmp_path: Path) -> None:
    made = endings(document=document, folders=(tmp_path / "state",))
    made.request_soon(Ending(Reason.SIGNAL, signal=signal.SIGTERM))  # and the loop never comes to it
    ended = made.give_up()
    assert ended.ending.signal == signal.SIGTERM
    assert ended.unsaved
    assert made.give_up() is ended, "once"
    assert len(list((tmp_path / "state").glob("*rescue*"))) == 1
    await made.finish()
    assert made.ended is ended


async def test_blocking_work_gives_its_result_or_its_error() -> None:
    for _ in range(200):
        assert await run_blocking(lambda: 6 * 7, what="a sum") == 42
        assert not save_hangs(), "it has its result"
    with pytest.raises(ZeroDivisionError):
        await run_blocking(lambda: 1 // 0, what="a sum")
