"""A fault of this program: no traceback on the screen, a sentence, a log, and nothing lost. And terminals that show little."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pexpect
import pytest

from probe.cli.outcome import Exit
from probe.cli.screens import draws_unicode
from probe.document.file import load_map
from probe.document.settings import Settings, change_settings, load_settings
from tests.cli.test_terminal import Terminal, opened
from tests.support.examples import first_now
from tests.support.settings import settings_in

FAULTS = {
    "on a key": "from probe.mapping.walk import WalkTask\nWalkTask._say = lambda self, *given: 1 / 0",
    "while drawing": "from probe.ui.widgets.big_number import BigNumber\n"
    "old = BigNumber.render_line\n"
    "BigNumber.render_line = lambda self, y: 1 / 0 if self.app.runtime.top.state.number == 45 else old(self, y)",
    "in an effect": "import probe.runtime.light_orders as r\n"
    "old = r.part_orders\n"
    "def orders(part, *given):\n"
    "    if getattr(part, 'first', 0) == 45: raise ZeroDivisionError('planted')\n"
    "    return old(part, *given)\n"
    "r.part_orders = orders",
    "in a step": "from probe.mapping.walk import WalkTask\n"
    "from probe.mapping.walk_keys import Say\n"
    "old = WalkTask.step\n"
    "def step(self, state, event, now):\n"
    "    if isinstance(event, Say): raise ZeroDivisionError('planted')\n"
    "    return old(self, state, event, now)\n"
    "WalkTask.step = step",
}


class Broken(Terminal):
    """The program with a fault planted in it."""

    def __init__(self, planted: str, arguments: list[str], folder: Path) -> None:
        script = folder / "broken.py"
        script.write_text(f"{planted}\nimport sys\nfrom probe.__main__ import main\nsys.exit(main(sys.argv[1:]))\n")
        self.script = str(script)
        super().__init__(arguments, folder, (80, 24), XDG_STATE_HOME=str(folder / "state"))

    def command(self, arguments: list[str]) -> list[str]:
        return [self.script, *arguments]


@pytest.mark.slow
@pytest.mark.parametrize("where", first_now(FAULTS))
def test_a_fault_ends_with_a_sentence_a_log_and_the_map(where: str, tmp_path: Path) -> None:
    terminal = Broken(FAULTS[where], ["demo", "--keep", "kept.json"], tmp_path)
    try:
        terminal.until("LIT")
        terminal.child.send("Otter grotto\r")
        if where in ("on a key", "in a step"):
            terminal.until("45 (46th)")
            terminal.child.send("\x1bOQ")  # F2
        terminal.child.expect(pexpect.EOF)
        terminal.child.wait()
        said = (terminal.child.before or b"").decode() + terminal.raw.decode(errors="replace")
    finally:
        terminal.child.close(force=True)
    assert terminal.child.exitstatus == Exit.INTERNAL
    assert "a fault of this program" in said
    assert "Traceback" not in said
    log = (tmp_path / "state" / "playfield-probe" / "log" / "trouble.log").read_text()
    assert "ZeroDivisionError" in log
    assert any(place.label == "Otter grotto" for place in load_map(tmp_path / "kept.json").places)


@pytest.mark.slow
@pytest.mark.parametrize(
    "environment", first_now([{"TERM": "linux"}, {"LC_ALL": "C"}, {"LANG": "C", "LC_CTYPE": "", "LC_ALL": ""}])
)
def test_no_unicode_no_sign_beyond_ascii(environment: dict[str, str], tmp_path: Path) -> None:
    with opened(["demo"], tmp_path, (80, 24), **environment) as terminal:
        terminal.until("LIT")
        for keys in ("\x1bOP", "\x1b", "\x14"):  # help, back, the table
            terminal.child.send(keys)
            terminal.read(0.6)
        assert terminal.raw.isascii(), sorted(set(terminal.raw.decode(errors="replace")) - set(map(chr, range(128))))
        assert terminal.child.isalive()


@pytest.mark.parametrize(
    ("environment", "system", "wanted"),
    [
        ({}, "posix", True),
        ({"LANG": "en_GB.UTF-8"}, "posix", True),
        ({"LANG": "de_DE.utf8", "TERM": "xterm"}, "posix", True),
        ({"LANG": "C", "LC_CTYPE": "C.UTF-8"}, "posix", False),
        ({"LANG": "C.UTF-8", "LC_CTYPE": "C.UTF-8"}, "posix", True),
        ({"LC_CTYPE": "C.UTF-8"}, "posix", True),
        ({"LANG": "de_DE@euro"}, "posix", False),
        ({"LANG": "en_GB.UTF-8", "LC_ALL": "POSIX"}, "posix", False),
        ({"LANG": "en_GB.UTF-8", "TERM": "linux"}, "posix", False),
        ({"LANG": "C"}, "nt", True),
    ],
)
def test_what_the_environment_tells(environment: dict[str, str], system: str, wanted: bool) -> None:
    assert draws_unicode(environment, system=system) is wanted


@pytest.mark.slow
def test_two_programs_on_one_file(tmp_path: Path) -> None:
    with opened(["demo", "--keep", "kept.json"], tmp_path) as first:
        first.until("LIT")
        before = (tmp_path / "kept.json").read_bytes()
        second = pexpect.spawn(
            sys.executable, ["-m", "probe", "walk", "kept.json", "--paper"], cwd=str(tmp_path), timeout=20,
            env={**os.environ, "PLAYFIELD_PROBE_SETTINGS": settings_in(tmp_path, "s.json"),
                 "PYTHONPATH": str(Path(__file__).resolve().parents[2])},
        )  # fmt: skip
        second.expect(pexpect.EOF)
        second.wait()
        assert second.exitstatus == Exit.FILE
        said = (second.before or b"").decode()
        assert "kept.json" in said
        assert "Traceback" not in said
        assert (tmp_path / "kept.json").read_bytes() == before
        first.child.send("Otter grotto\r")
        first.until("45 (46th)")
    assert any(place.label == "Otter grotto" for place in load_map(tmp_path / "kept.json").places)


@pytest.mark.slow
def test_the_theme_of_the_settings_is_used(tmp_path: Path) -> None:
    settings = tmp_path / "settings.json"
    change_settings(lambda s: s.model_copy(update={"theme": "high-contrast", "signs": "fine"}), settings)
    assert load_settings(settings) == Settings(theme="high-contrast", signs="fine")
    with opened(["demo"], tmp_path) as terminal:
        terminal.until("LIT")
        colours = {cell.bg for line in terminal.screen.buffer.values() for cell in line.values()}
        assert "000000" in colours
        assert {"161616", "0a0a0a"} & colours == set(), "no shades of the usual theme"
        terminal.child.send("\x10")  # the palette
        terminal.read(0.8)
        terminal.child.send("theme: light")
        terminal.read(0.8)
        terminal.child.send("\r")
        terminal.read(0.8)
    assert load_settings(settings).theme == "light-room"


def test_a_theme_that_is_not_there_is_told(tmp_path: Path) -> None:
    (tmp_path / "settings.json").write_text('{"theme": "mauve"}\n')
    with opened(["demo"], tmp_path) as terminal:
        terminal.child.expect(pexpect.EOF)
        terminal.child.wait()
        said = (terminal.child.before or b"").decode()
        assert terminal.child.exitstatus == Exit.FILE
    assert "theme" in said
    assert "high-contrast" in said
