"""Any keys, clicks and sizes in any order: nothing breaks, and the file can be opened after each.

`RANDOM_KEYS` is how many a seed presses (150): `python -m tests.hostile --long keys` presses many more.
"""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest
from textual.pilot import OutOfBounds

from probe.document.file import demo_map_path, load_map
from probe.task import events as ev
from probe.ui.app import MAKERS
from probe.ui.keys import all_keys, keys_of
from tests.ui.conftest import OpenApp, open_app, text_of

__all__ = ["open_app"]
PRESSES = int(os.environ.get("RANDOM_KEYS", "150"))
A_SESSION = 150
SIZES = ((80, 24), (120, 40), (200, 60), (40, 12))
PLAIN = [*"abcdefghijklmnopqrstuvwxyz0123456789", "comma", "full_stop", "minus", "plus", "question_mark"]
MOVES = ["up", "down", "left", "right", "pageup", "pagedown", "home", "end", "tab", "shift+tab", "space", "backspace"]


@pytest.mark.slow
@pytest.mark.timeout(7_200)
@pytest.mark.parametrize("seed", range(2))
async def test_keys_in_any_order_do_no_harm(
    seed: int, open_app: OpenApp, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)  # what is exported or saved as a picture
    dice = random.Random(seed)
    bound = sorted({key for row in all_keys() for key in keys_of(row, {}) if key != "ctrl+q"})
    keys = [*PLAIN, *MOVES * 2, *bound * 2, *["enter", "f10"] * 8, *["escape", "y"] * 4]
    demo = map_ = load_map(demo_map_path())
    pressed = 0
    while pressed < PRESSES:
        done: list[object] = []
        size, task = dice.choice(SIZES), dice.choice(sorted(MAKERS.keys() - {"pick"}))  # of which lamp?
        try:
            async with open_app(map_, demo if dice.random() < 0.6 else None, size=size) as stage:
                stage.app.runtime.dispatch(ev.GoOpen(task))
                for _ in range(A_SESSION):
                    if stage.app.return_code is not None:  # left by the menu
                        break
                    pressed += 1
                    chance = dice.random()
                    if chance < 0.08:
                        done.append((dice.randrange(size[0]), dice.randrange(size[1])))
                        try:
                            await stage.pilot.click(offset=done[-1])  # type: ignore[arg-type]
                        except OutOfBounds:
                            done.pop()
                    elif chance < 0.09:
                        size = dice.choice(SIZES)
                        done.append(size)
                        await stage.pilot.resize_terminal(*size)
                    else:
                        done.append(dice.choice(keys))
                        await stage.pilot.press(str(done[-1]))
                    if pressed % 25 == 0:
                        await stage.pilot.pause()
                        assert text_of(stage.app).strip()
                        load_map(stage.path)
        except Exception as exc:
            exc.add_note(f"{task}: {done}")
            raise
        map_ = load_map(stage.path)
