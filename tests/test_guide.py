"""The guide's console blocks are real: each command is run, and prints what the page says (`…` stands for any lines)."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from probe.task.command import MenuGroup
from probe.ui.keys import all_keys
from tests.support.examples import first_now

ROOT = Path(__file__).resolve().parent.parent
PAGES = [*sorted((ROOT / "probe" / "guide").glob("*.md")), ROOT / "device_protocol" / "firmware" / "README.md"]

WITH_COMMANDS = [page for page in PAGES if page.stem != "keys"]
"""The page of keys is made from the rows of the commands."""


def blocks(page: Path) -> list[list[tuple[str, list[str]]]]:
    """Console blocks as lists of (command, expected lines)."""
    found = []
    for block in re.findall(r"^```console\n(.*?)^```", page.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL):
        steps: list[tuple[str, list[str]]] = []
        for line in block.splitlines():
            if line.startswith("$ "):
                steps.append((line[2:], []))
            else:
                steps[-1][1].append(line)
        found.append(steps)
    return found


def agrees(shown: list[str], expected: list[str]) -> bool:
    """Whether the lines are as expected, `…` standing for any number of lines."""
    if not expected:
        return not shown
    if expected[0] == "…":
        return any(agrees(shown[skip:], expected[1:]) for skip in range(len(shown) + 1))
    return bool(shown) and shown[0] == expected[0] and agrees(shown[1:], expected[1:])


@pytest.mark.parametrize("page", first_now(WITH_COMMANDS), ids=lambda p: p.stem)
@pytest.mark.long
def test_the_guide_shows_what_the_commands_print(page: Path, tmp_path: Path) -> None:
    for file in (ROOT / "demo_maps").glob("kelp_forest*"):
        shutil.copy(file, tmp_path)
    environment = {**os.environ, "PLAYFIELD_PROBE_SETTINGS": str(tmp_path / "settings.json"), "PYTHONPATH": str(ROOT)}
    ran = 0
    for steps in blocks(page):
        for text, expected in steps:
            words = shlex.split(text)
            if words[0] == "playfield-probe":
                words = [sys.executable, "-m", "probe", *words[1:]]
            done = subprocess.run(
                words, cwd=tmp_path, env=environment, capture_output=True, text=True, timeout=120, check=False
            )
            shown = done.stdout.splitlines()
            assert done.returncode in (0, 1), (text, done.stderr)
            assert agrees(shown, expected), f"{page.name}: $ {text}\n" + "\n".join(shown)
            ran += 1
    assert ran > 0


def test_every_page_is_named_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for page in PAGES:
        assert page.relative_to(ROOT).as_posix() in readme


def test_every_way_through_the_menu_that_a_page_names_is_there() -> None:
    groups = {str(n): group for n, group in enumerate(MenuGroup, 1)} | {group.value: group for group in MenuGroup}
    way = re.compile(r"F10,\s+(\w+),\s+(?:\"([^\"]+)\"|([A-Z])\b)")
    found = 0
    for page in [*PAGES, ROOT / "README.md"]:
        text = page.read_text(encoding="utf-8")
        assert not re.search(r"(Esc|menu), [\"“]", text), f"{page.name}: a way that begins at the walk only"
        for group, words, letter in way.findall(text):
            rows = [row for row in all_keys() if row.group is groups[group]]
            words = " ".join(words.split())
            assert any(row.words == words if words else row.letter == letter.lower() for row in rows), (
                page.name,
                group,
                words,
            )
            found += 1
    assert found > 12
