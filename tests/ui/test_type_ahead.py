"""Keys come as fast as a terminal can send them: pasted, or typed ahead of a busy machine. None is lost or mixed up."""

from __future__ import annotations

import asyncio
import time
from pathlib import Path

import pytest
from textual import events

from probe.document.document import SaveJob
from probe.document.model import Chain, PixelState, PlayfieldMap
from probe.document.operations import add_chain, new_map, set_count
from tests.support.examples import first_now
from tests.ui.conftest import OpenApp, Stage

NAMES = ("Otter grotto", "Left kelp lane", "Wreck light 3", "Top of the reef", "Diver's lamp", "Anchor")


def unnamed() -> PlayfieldMap:
    return set_count(add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0)), "a", 40)


def press(stage: Stage, sign: str) -> None:
    key = {"\r": "enter", "\b": "backspace", "\f": "f2", " ": "space", "'": "apostrophe"}.get(sign, sign)
    stage.app.post_message(events.Key(key, sign if sign.isprintable() else None))


def type_at_once(stage: Stage, text: str) -> None:
    for sign in text:
        press(stage, sign)


def labels(stage: Stage) -> list[str]:
    map_ = stage.walk.map
    placed = [p for p in map_.chains[0].pixels if p.state is PixelState.PLACED]
    return [map_.place_by_id[p.place or ""].label for p in placed]


async def arrived(stage: Stage, number: int) -> None:
    for _ in range(1_000):
        await stage.pilot.pause(0.01)
        if stage.walk.number >= number:
            return


@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40)]))
async def test_names_from_a_paper_list_pasted_at_once_arrive_whole(open_app: OpenApp, size: tuple[int, int]) -> None:
    async with open_app(unnamed(), size=size, paper=True) as stage:
        await stage.pilot.pause()
        type_at_once(stage, "".join(f"{name}\r" for name in NAMES))
        await arrived(stage, len(NAMES))
        assert labels(stage) == list(NAMES)


@pytest.mark.slow
async def test_a_name_typed_while_the_board_is_busy_arrives_whole(open_app: OpenApp) -> None:
    async with open_app(unnamed()) as stage:
        for number, name in enumerate(NAMES):
            await stage.lit()
            type_at_once(stage, f"{name}\r")
            await arrived(stage, number + 1)
        assert labels(stage) == list(NAMES)


async def test_editing_keys_keep_their_turn(open_app: OpenApp) -> None:
    async with open_app(unnamed(), paper=True) as stage:
        await stage.pilot.pause()
        type_at_once(stage, "Kelp lanx\be\r\fAnchor\r")
        await arrived(stage, 3)
        assert labels(stage) == ["Kelp lane", "Anchor"]
        chain = stage.walk.map.chains[0]
        assert chain is not None
        assert [pixel.state for pixel in chain.pixels[:3]] == [PixelState.PLACED, PixelState.DARK, PixelState.PLACED]


KEYS_S = (0.02, 0.05, 0.1, 0.15)
"""Seconds from key to key: pasted, and from a fast typist's to that of one who looks for each letter."""


@pytest.mark.slow
@pytest.mark.parametrize("save_s", [0.0, 0.3, 0.6, 1.2])
async def test_names_typed_without_a_look_land_in_their_order_however_slow_the_disk(
    open_app: OpenApp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, save_s: float
) -> None:
    """One person for each pace, side by side. Nobody waits for a pixel to light."""
    run, names = SaveJob.run, NAMES[:4]

    def slow_run(job: SaveJob) -> None:
        time.sleep(save_s)  # on the thread that saves
        run(job)

    async def types(key_s: float) -> list[str]:
        path = tmp_path / f"{key_s}" / "map.json"
        path.parent.mkdir()
        async with open_app(unnamed(), path=path) as stage:
            await stage.lit()
            monkeypatch.setattr(SaveJob, "run", slow_run)
            due = time.monotonic()
            for sign in "".join(f"{name}\r" for name in names):
                press(stage, sign)
                due += key_s
                await asyncio.sleep(due - time.monotonic())
            await arrived(stage, len(names))
            await stage.app.settled()
            assert stage.app.session.document is not None
            assert stage.app.session.document.is_saved
            return labels(stage)

    assert await asyncio.gather(*map(types, KEYS_S)) == [list(names)] * len(KEYS_S)
