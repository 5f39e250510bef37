"""Draws every screen there is, at every size, in every theme and in ASCII: `python -m tests.scenes FOLDER [NAME …]`.

Each picture is an SVG file (with `--png` a PNG too, by Chromium); one text file a screen holds what stands on it at each size.
`screens.md` is the table of them: where words are cut, and how many of the rows are used. It is for looking at: nothing is asserted
here; `tests/ui/test_scenes.py` holds that every scene is reached.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from rich.color import Color
from textual.app import App
from textual.pilot import Pilot

from probe.cli import screens
from probe.cli.parser import build_parser
from probe.document.file import demo_map_path
from probe.document.settings import Settings
from probe.ui.app import ProbeApp
from probe.ui.files import screen_svg
from probe.ui.launch import Session
from probe.ui.themes import OURS
from tests.support.keys import to

SIZES = ((80, 24), (120, 40), (200, 60))
THEMES = tuple(theme.name for theme in OURS)
ASCII = "ascii"
_LOOKS, _BETWEEN_LOOKS_S = 2, 0.1
"""So often a screen has to look the same, one look after the other, to stand still."""
_MOST_S = 20.0


@dataclass(frozen=True)
class Scene:
    """A screen in a state: the command line that opens the program, keys (a text is typed, a tuple is pressed), what shows then."""

    command: str
    steps: tuple[tuple[str, ...] | str, ...] = ()
    shows: str = ""
    of_map: str = ""
    """A map of `demo_maps` that lies in the folder of the run, as `kelp.json`."""


HALF, COMPLETE, SPLICED = "demo", "demo --complete", "demo --spliced"
ENTER, ESC, DOWN = ("enter",), ("escape",), ("down",)
_TO_COUNT = ("Night Ferry", ENTER, ENTER, ("2",), ("1",), ("1",))
"""The demo's chain lights, and its test colours are seen as green, red, red."""


def _at(command: str, name: str, *steps: tuple[str, ...] | str, shows: str = "") -> Scene:
    return Scene(command, (to(name), *steps), shows)


SCENES: dict[str, Scene] = {
    # the program around the tasks
    "home": Scene("", (), "needs, most useful first", of_map="kelp_forest_half.json"),
    "home_whole": Scene("", (), "needs, most useful first", of_map="kelp_forest.json"),
    "home_first": Scene("", (), "A new map"),
    "home_file": Scene("", (("n",),), "file name of the map"),
    "signs": Scene("signs", (), "blocks"),
    "port": _at(HALF, "app.port", shows="Which port"),
    "menu": Scene(HALF, (("f10",),), "Here"),
    **{f"menu_{n}": Scene(HALF, (("f10", str(n)),), "Here") for n in range(2, 7)},
    "palette": Scene(HALF, (("ctrl+p",),)),
    "help": Scene(HALF, (("f1",),), "Keys"),
    "tour": Scene("demo --tour", (), "next"),
    "export": _at(HALF, "app.export", shows="Export"),
    "export_name": _at(HALF, "app.export", ENTER, shows=".csv"),
    "sheet": _at(HALF, "app.sheet", shows="Papers"),
    "settings": _at(HALF, "app.settings", shows="Colours"),
    "guide": _at(HALF, "app.guide"),
    "guide_page": _at(HALF, "app.guide", DOWN, ENTER),
    # a new map
    "setup": Scene("demo --new", (), "machine"),
    "setup_2": Scene("demo --new", ("Night Ferry", ENTER)),
    "setup_3": Scene("demo --new", ("Night Ferry", ENTER, ENTER)),
    "setup_4": Scene("demo --new", ("Night Ferry", ENTER, ENTER, ENTER)),
    "setup_5": Scene("demo --new", ("Night Ferry", ENTER, ENTER, ENTER, ENTER)),
    "setup_6": Scene("demo --new", ("Night Ferry", ENTER, ENTER, ENTER, ENTER, ENTER)),
    "setup_count": Scene("demo --new", _TO_COUNT, "how many pixels this chain has"),
    "setup_entry": Scene("demo --new", (*_TO_COUNT, ("1",)), "type the number of pixels"),
    "setup_search": Scene("demo --new", (*_TO_COUNT, ("2",)), "Output 0"),
    "setup_name": Scene("demo --new", (*_TO_COUNT, ("1",), "84", ENTER), "name"),
    "setup_ceiling": Scene("demo --new", (*_TO_COUNT, ("1",), "84", ENTER, ENTER), "mA"),
    # the map
    "walk": Scene(HALF, (), "What lights?"),
    "walk_typed": Scene(HALF, ("ree",), "ree"),
    "walk_more": Scene(HALF, (("f5",),), "More for this row"),
    "walk_picture": Scene(HALF, (("f9",),), "Picture"),
    "walk_light": Scene(HALF, (("ctrl+l",),), "Light"),
    "walk_chains": Scene(HALF, (("f6",),)),
    "walk_goto": Scene(HALF, (("ctrl+f",),)),
    "walk_paper": Scene("walk kelp.json --paper", (), "What lights?", of_map="kelp_forest_half.json"),
    "walk_complete": Scene(COMPLETE, (), "What lights?"),
    "needs": Scene(HALF, (("f10", "2", "w"),)),
    "count": Scene(HALF, (("f10", "2", "c"),)),
    "table": Scene(HALF, (to("app.table"),)),
    "table_search": Scene(HALF, (to("app.table"), ("ctrl+f",), "otter"), "otter"),
    "findings": Scene(HALF, (to("app.table"), to("table.findings"))),
    "revisions": _at(SPLICED, "app.revisions"),
    "worklist": _at(COMPLETE, "app.worklist"),
    "worklist_half": _at(HALF, "app.worklist"),
    "log": _at(COMPLETE, "app.log"),
    # light
    "find": _at(COMPLETE, "app.find"),
    "find_2": _at(COMPLETE, "app.find", "ree", ENTER, ENTER),
    "recheck": _at(SPLICED, "app.recheck"),
    "recheck_look": _at(SPLICED, "app.recheck", ENTER),
    "recheck_row": _at(SPLICED, "app.recheck", ENTER, ENTER),
    "recheck_row_2": _at(SPLICED, "app.recheck", ENTER, ENTER, ("f2",)),
    "evenness": _at(COMPLETE, "app.evenness"),
    "evenness_2": _at(COMPLETE, "app.evenness", ENTER, ENTER),
    "places": _at(COMPLETE, "app.picture"),
    "faults": _at(COMPLETE, "app.faults", ENTER),
    "faults_2": _at(COMPLETE, "app.faults", ENTER, ENTER),
    "faults_3": _at(COMPLETE, "app.faults", ENTER, ENTER, ENTER),
    "faults_k": _at(COMPLETE, "app.faults", ENTER, ("down", "enter"), "20", ENTER),
    "faults_k2": _at(COMPLETE, "app.faults", ENTER, ("down", "enter"), "20", ENTER, ("f4",)),
    # plan
    "plan": _at(COMPLETE, "app.plan"),
    "plan_half": _at(HALF, "app.plan"),
    "power_cautions": _at(COMPLETE, "app.power"),
    "power": _at(COMPLETE, "app.power", ENTER),
    "power_up_cautions": _at(COMPLETE, "app.power_up"),
    "power_up": _at(COMPLETE, "app.power_up", ENTER),
    "power_up_2": _at(COMPLETE, "app.power_up", ENTER, ENTER),
    "harness": _at(COMPLETE, "app.harness", ENTER),
    "joint": _at(COMPLETE, "app.harness", ENTER, ENTER),
    "shapes": _at(COMPLETE, "app.shapes"),
    "batches": _at(COMPLETE, "app.batches"),
    "batches_open": _at(COMPLETE, "app.batches", ENTER),
    "bench": _at(COMPLETE, "app.bench", ENTER),
    "bench_2": _at(COMPLETE, "app.bench", ENTER, ENTER),
    # game
    "lamps": _at(COMPLETE, "app.lamps"),
    "lamp": _at(COMPLETE, "app.lamps", ENTER),
    "board": _at(COMPLETE, "app.board"),
    "watch": _at(COMPLETE, "app.watch", ENTER),
    "watch_pressed": _at(COMPLETE, "app.watch", ENTER, ("p",), ENTER),
    "watch_lamps": _at(COMPLETE, "app.watch", ENTER, ("t",)),
    "prove": _at(COMPLETE, "app.prove"),
    "prove_2": _at(COMPLETE, "app.prove", ENTER),
    "restore": _at(COMPLETE, "app.restore"),
    "restore_2": _at(COMPLETE, "app.restore", ENTER, ENTER),
    # practice
    "practice": Scene("practice --seed 3"),
    "practice_2": Scene("practice --seed 3", (ENTER,)),
    "practice_3": Scene("practice --seed 3", (ENTER, ENTER)),
}


def app_for(scene: Scene, folder: Path) -> ProbeApp:
    """The program as the scene's command line opens it, with settings as they are at first."""
    os.environ["PLAYFIELD_PROBE_SETTINGS"] = str(folder / "settings.json")
    os.environ["XDG_STATE_HOME"] = str(folder)
    words = scene.command.split()
    if words[:1] == ["demo"]:
        words += ["--keep", str(folder / "kelp.json")]
    settings = Settings()
    if scene.of_map:
        path = folder / "kelp.json"
        path.write_bytes(demo_map_path(scene.of_map).read_bytes())
        words = [str(path) if word == "kelp.json" else word for word in words]
        settings = settings.with_map(str(path))
    asking = words == ["signs"]
    arguments = build_parser().parse_args([] if asking else words)
    opening = screens.Opening(arguments, settings)
    if words or asking:
        launch = screens.launched(arguments, opening)
        assert launch is not None
        options, session = launch
    else:
        options, session = replace(opening.options(), start_here=True), Session()
    return ProbeApp(replace(options, ask_signs=asking, signs=opening.signs or "fine"), session, opening)


async def reach(app: ProbeApp, pilot: Pilot[Any], scene: Scene) -> None:
    """Press the scene's keys, and wait each time until the screen stands still."""
    await still(app, pilot)
    for step in scene.steps:
        await pilot.press(*(["space" if sign == " " else sign for sign in step] if isinstance(step, str) else step))
        await still(app, pilot)


async def still(app: ProbeApp, pilot: Pilot[Any]) -> None:
    """Wait until the text of the screen does not change any more (or only counts seconds)."""
    end, unchanged, before = time.monotonic() + _MOST_S, -1, ""
    while time.monotonic() < end and unchanged < _LOOKS:
        await pilot.pause(_BETWEEN_LOOKS_S)
        await app.settled()
        now = "\n".join(text_lines(app))
        before, unchanged = now, unchanged + 1 if now == before else 0


def text_lines(app: App[Any]) -> list[str]:
    """What stands on the screen, row by row."""
    return ["".join(segment.text for segment in strip).rstrip() for strip in app.screen._compositor.render_strips()]


def luminance(colour: Color) -> float:
    """Relative luminance as WCAG 2.2 defines it (w3.org/TR/WCAG22)."""
    rgb = colour.get_truecolor()
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (c / 255 for c in rgb))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def faint(app: App[Any], *, words: float = 4.5, signs: float = 3.0) -> list[str]:
    """What stands out less from its ground than WCAG 2.2 asks (1.4.3 for words, 1.4.11 for signs), with its contrast."""
    found: dict[str, None] = {}
    for strip in app.screen._compositor.render_strips():
        for text, style, _ in strip:
            shown = text.strip()
            if not shown or style is None or style.color is None or style.bgcolor is None:
                continue
            fore, back = (style.bgcolor, style.color) if style.reverse else (style.color, style.bgcolor)
            high, low = sorted((luminance(fore), luminance(back)), reverse=True)
            contrast = (high + 0.05) / (low + 0.05)
            is_word = any(sign.isalnum() for sign in shown)
            if contrast < (words if is_word else signs):
                found[f"{shown[:30]} {contrast:.1f}"] = None
    return list(found)


def cuts(lines: Iterable[str]) -> list[str]:
    """The words before each sign of a cut."""
    return [found for line in lines for found in re.findall(r"\S+ ?\S*…(?!\s*Esc)", line)]


async def draw(name: str, scene: Scene, folder: Path, sizes: Sequence[tuple[int, int]], themes: Sequence[str]) -> str:
    """Draw a scene; one line of the table."""
    cells = []
    texts = []
    with tempfile.TemporaryDirectory() as work:
        app = app_for(scene, Path(work))
        async with app.run_test(size=sizes[0]) as pilot:
            await reach(app, pilot, scene)
            for columns, rows in sizes:
                await pilot.resize_terminal(columns, rows)
                await still(app, pilot)
                lines = text_lines(app)
                texts.append(f"== {columns} × {rows} ==\n" + "\n".join(lines))
                used = sum(bool(line.strip(" │▏▕┃")) for line in lines)
                words = ", ".join(cuts(lines)[:4]).replace("|", "/")
                cells.append(f"{used} of {rows} rows" + (f"; cut: {words}" if words else ""))
                for theme in themes:
                    app.theme = theme
                    await pilot.pause(0.1)
                    if hard := faint(app):
                        cells[-1] += f"; faint in {theme}: {', '.join(hard[:3])}".replace("|", "/")
                    (folder / f"{name}_{columns}x{rows}_{theme}.svg").write_text(screen_svg(app), encoding="utf-8")
            await pilot.resize_terminal(*sizes[0])
            app.theme = themes[0]
            app.options = replace(app.options, signs="ascii")
            app._filter_signs()
            await still(app, pilot)
            (folder / f"{name}_{ASCII}.svg").write_text(screen_svg(app), encoding="utf-8")
            texts.append("== ASCII ==\n" + "\n".join(text_lines(app)))
            foreign = sorted({sign for line in text_lines(app) for sign in line if ord(sign) > 126})
            cells.append("beyond ASCII: " + "".join(foreign) if foreign else "nothing beyond ASCII")
        app.session.close()
    (folder / f"{name}.txt").write_text("\n".join(texts), encoding="utf-8")
    found = "" if not scene.shows or any(scene.shows in text for text in texts) else " **not reached**"
    return f"| {name}{found} | " + " | ".join(cells) + " |"


def to_png(folder: Path, names: Iterable[str]) -> None:
    """The SVG files as PNG."""
    for path in sorted(folder.glob("*.svg")):
        if not any(path.name.startswith(f"{name}_") for name in names):
            continue
        box = re.search(r'viewBox="0 0 ([\d.]+) ([\d.]+)"', path.read_text(encoding="utf-8"))
        assert box is not None
        width, height = (int(float(side)) for side in box.groups())
        command = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", f"--window-size={width},{height}"]
        subprocess.run(
            [*command, f"--screenshot={path.with_suffix('.png')}", str(path)], check=True, capture_output=True
        )


def main(argv: Sequence[str]) -> int:
    """Draw the scenes named, or all."""
    parser = argparse.ArgumentParser(prog="python -m tests.scenes", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("names", nargs="*", metavar="NAME", help="of these only")
    parser.add_argument("--png", action="store_true", help="PNG files too (needs Chromium)")
    parser.add_argument("--quick", action="store_true", help="one theme only")
    arguments = parser.parse_args(argv)
    unknown = [name for name in arguments.names if name not in SCENES]
    if unknown:
        parser.error(f"no such scene: {', '.join(unknown)}; there are {', '.join(SCENES)}")
    arguments.folder.mkdir(parents=True, exist_ok=True)
    names = arguments.names or list(SCENES)
    themes = THEMES[:1] if arguments.quick else THEMES
    head = ["| scene |", *(f" {columns} × {rows} |" for columns, rows in SIZES), " ASCII |"]
    table = ["".join(head), "|" + "---|" * (len(SIZES) + 2)]
    for name in names:
        table.append(asyncio.run(draw(name, SCENES[name], arguments.folder, SIZES, themes)))
        print(table[-1], flush=True)
    (arguments.folder / "screens.md").write_text("\n".join(table) + "\n", encoding="utf-8")
    if arguments.png:
        to_png(arguments.folder, names)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
