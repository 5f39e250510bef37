"""The pictures in README and guide are what the program draws: made anew here, and compared with the files.

`PICTURES=write python -m pytest -m slow tests/ui/test_pictures.py` writes them after a change of the screens.
"""

from __future__ import annotations

import os
import re
from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.ui.files import screen_svg
from tests.ui.conftest import OpenApp, Stage

ROOT = Path(__file__).resolve().parent.parent.parent
FOLDER = ROOT / "probe" / "guide" / "pictures"
DEMO = load_map(demo_map_path())
HALF = load_map(demo_map_path("kelp_forest_half.json"))


async def _walk(stage: Stage) -> None:
    await stage.lit()
    await stage.pilot.press("pagedown")  # the pixel before is hidden: nothing of it would be seen
    await stage.lit()
    await stage.pilot.pause(0.2)


async def _menu(stage: Stage, group: str, letter: str) -> None:
    await stage.lit()
    await stage.pilot.press("f10", group, letter)
    for _ in range(200):
        await stage.pilot.pause(0.05)
        await stage.app.settled()
        top = stage.app.runtime.top
        if top is not None and top.name != "walk":
            break
    await stage.pilot.pause(0.2)


async def _worklist(stage: Stage) -> None:
    await _menu(stage, "2", "l")


async def _lamps(stage: Stage) -> None:
    await _menu(stage, "5", "l")


PICTURES: dict[str, tuple[bool, tuple[int, int], Callable[[Stage], Awaitable[None]]]] = {
    "walk": (False, (120, 40), _walk),
    "worklist": (True, (100, 24), _worklist),
    "lamps": (True, (100, 30), _lamps),
}
"""Name: whether the map is finished, columns and rows, what is pressed."""


def _named_alike(picture: str) -> str:
    """Without the number in the names of its parts, which counts also how a line was put together."""
    return re.sub(r"terminal-\d+", "terminal", picture)


@pytest.mark.slow
@pytest.mark.parametrize("name", PICTURES)
async def test_a_picture_is_what_the_program_draws(name: str, open_app: OpenApp) -> None:
    whole, size, reach = PICTURES[name]
    async with open_app(DEMO if whole else HALF, DEMO, size=size) as stage:
        await reach(stage)
        made = screen_svg(stage.app)
    path = FOLDER / f"{name}.svg"
    if os.environ.get("PICTURES") == "write":
        path.write_text(made, encoding="utf-8")
    assert _named_alike(path.read_text(encoding="utf-8")) == _named_alike(made), (
        "write the pictures anew, and look at them"
    )
    plain = re.sub(r'<!--.*?-->|xmlns="http://www\.w3\.org/2000/svg"', "", made, flags=re.DOTALL)
    assert "http" not in plain


def test_every_picture_is_shown_and_there_is_no_other() -> None:
    pages = [ROOT / "README.md", *(ROOT / "probe" / "guide").glob("*.md")]
    shown = {name for page in pages for name in re.findall(r"pictures/(\w+)\.svg", page.read_text(encoding="utf-8"))}
    assert shown == set(PICTURES) == {path.stem for path in FOLDER.iterdir()}
