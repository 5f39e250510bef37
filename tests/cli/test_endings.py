"""However the program ends: the board dark, the answers safe, the terminal as it was found, the process gone in time."""

from __future__ import annotations

import contextlib
import fcntl
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pyte
import pytest

from probe.cli.outcome import Exit
from probe.document.file import MapFile, load_map
from probe.document.model import PlayfieldMap
from probe.link.replay import read_transcript
from tests.support.settings import settings_in

ROOT = Path(__file__).resolve().parents[2]
GONE_S = 3.0
"""The program's promise; `GRACE_S` is for a machine that is busy with other things."""
GRACE_S = 1.5
LABEL = "Otter grotto"
MODES = {1000, 1002, 1003, 1004, 1006, 1015, 1016, 1049, 2004, 2048}
"""Private modes that must be off in the end: mouse, focus, alternate screen, paste, size reports."""


@dataclass
class Launch:
    """How the program is started. `planted` is Python that runs before it, in its own process."""

    arguments: tuple[str, ...] = ("demo", "--keep", "kept.json")
    planted: str = ""
    controlling: bool = True
    ignored: tuple[signal.Signals, ...] = ()
    environment: dict[str, str] = field(default_factory=dict)


class Program:
    """The program in a pseudo-terminal of our own, which need not be its controlling one."""

    def __init__(self, launch: Launch, folder: Path) -> None:
        self.folder = folder
        self.raw = b""
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self.screen)
        (folder / "tmp").mkdir()
        script = folder / "program.py"
        script.write_text(
            f"{launch.planted}\nimport sys\nfrom probe.__main__ import main\nsys.exit(main(sys.argv[1:]))\n"
        )
        self.master, slave = pty.openpty()
        fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.slave_name = os.ttyname(slave)
        self.settings = termios.tcgetattr(slave)
        self.kept_slave: int | None = os.dup(slave)  # so that its settings can be looked at afterwards

        def prepare() -> None:
            for name in ("SIGHUP", "SIGINT", "SIGQUIT", "SIGTERM"):
                number = getattr(signal, name)
                signal.signal(number, signal.SIG_IGN if number in launch.ignored else signal.SIG_DFL)
            if launch.controlling:
                fcntl.ioctl(0, termios.TIOCSCTTY, 0)

        self.process = subprocess.Popen(
            [sys.executable, str(script), *launch.arguments],
            stdin=slave, stdout=slave, stderr=slave, cwd=folder, start_new_session=True, preexec_fn=prepare,
            env={**os.environ, "PLAYFIELD_PROBE_SETTINGS": settings_in(folder), "PYTHONPATH": str(ROOT),
                 "TERM": "xterm-256color", "XDG_STATE_HOME": str(folder / "state"), "TMPDIR": str(folder / "tmp"),
                 **launch.environment},
        )  # fmt: skip
        os.close(slave)

    def send(self, keys: str) -> None:
        os.write(self.master, keys.encode())

    def read(self, seconds: float) -> str:
        """What the screen shows after so long."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            if not select.select([self.master], [], [], left)[0]:
                break
            try:
                data = os.read(self.master, 65_536)
            except OSError:
                break
            self.raw += data
            self._stream.feed(data)
        return "\n".join(self.screen.display)

    def until(self, text: str, seconds: float = 20) -> str:
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            shown = self.read(0.03)
            if text in shown:
                return shown
        raise AssertionError(f"{text!r} did not appear:\n" + "\n".join(self.screen.display))

    def answer(self) -> None:
        """Name the first pixel; it is on disk, unless that hangs or fails."""
        self.until("LIT")
        self.send(f"{LABEL}\r")
        self.until("45 (46th)")

    def hang_up(self) -> None:
        """The terminal goes away."""
        if self.kept_slave is not None:
            os.close(self.kept_slave)
            self.kept_slave = None
        os.close(self.master)
        self.master = -1

    def ends(self, within_s: float = GONE_S + GRACE_S) -> int:
        """The exit code; minus the signal if one killed it."""
        end = time.monotonic() + within_s
        while time.monotonic() < end:
            if self.master >= 0:
                self.read(0.02)
            else:
                time.sleep(0.02)
            if self.process.poll() is not None:
                if self.master >= 0:
                    self.read(0.1)
                return self.process.returncode
        raise AssertionError(f"still there after {within_s} s:\n" + "\n".join(self.screen.display))

    @property
    def said(self) -> str:
        return self.raw.decode(errors="replace")

    @property
    def last_words(self) -> str:
        """What came after the full screen was left."""
        return self.said.rpartition("\x1b[?1049l")[2]

    @property
    def map(self) -> PlayfieldMap:
        return load_map(self.folder / "kept.json")

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait()
        for descriptor in (self.master, self.kept_slave):
            if descriptor is not None and descriptor >= 0:
                os.close(descriptor)


@contextlib.contextmanager
def program(folder: Path, launch: Launch | None = None) -> Iterator[Program]:
    started = Program(launch or Launch(), folder)
    try:
        yield started
    finally:
        started.close()


def has_label(map_: PlayfieldMap) -> bool:
    return any(place.label == LABEL for place in map_.places)


def terminal_is_as_found(ended: Program) -> None:
    assert ended.kept_slave is not None
    assert termios.tcgetattr(ended.kept_slave) == ended.settings
    off_at_last: dict[int, bool] = {}
    for modes, switch in private_modes(ended.said):
        for mode in modes:
            off_at_last[mode] = switch == "l"
    on = {mode for mode in MODES if not off_at_last.get(mode, True)}
    assert not on, f"left on: {on}"
    assert not off_at_last.get(25, False), "the cursor is hidden"
    assert not off_at_last.get(7, False), "lines do not wrap"
    assert "\x1b[<u" in ended.said, "the keyboard protocol was left on"


def private_modes(said: str) -> Iterator[tuple[list[int], str]]:
    for found in re.finditer(r"\x1b\[\?([\d;]+)([hl])", said):
        yield [int(mode) for mode in found[1].split(";")], found[2]


TROUBLE = """
import errno, os, time
from pathlib import Path
from probe.document.file.disk import Disk
here, create = Path.cwd(), Disk.create
FOLDERS = {"map": here, "state": here / "state" / "playfield-probe", "temporary": here / "tmp", "memory": Path("/dev/shm")}
def planted(self, path, mode):
    wanted = dict(word.split("=") for word in (here / "trouble").read_text().split()) if (here / "trouble").exists() else {}
    if path.parent == here and (here / "wire.log").exists():
        (here / "on-the-wire").write_bytes((here / "wire.log").read_bytes())
    for name, what in wanted.items():
        if path.parent == FOLDERS[name]:
            (here / f"hit-{name}").touch()
            if what == "hangs":
                time.sleep(60)
            raise OSError(errno.ENOSPC, "No space left on device")
    return create(self, path, mode)
Disk.create = planted
"""
"""A disk that hangs or fails, from when the file `trouble` says so: `map=hangs state=fails temporary=… memory=…`.

`on-the-wire` holds what the wire's log said when the map was last about to be written.
"""
SLOW = pytest.mark.slow
QUIT = "\x11"


def launched(**how: object) -> Launch:
    """A launch with a disk that can be told to make trouble."""
    return Launch(planted=TROUBLE, **how)  # type: ignore[arg-type]


def unsaved_answer(started: Program, trouble: str) -> None:
    """From now on the disk makes trouble; and an answer is given, which so is not saved."""
    started.until("LIT")
    (started.folder / "trouble").write_text(trouble)
    started.send(f"{LABEL}\r")
    end = time.monotonic() + 20
    while not (started.folder / "hit-map").exists():
        started.read(0.03)
        assert time.monotonic() < end, "nothing was saved"


def rescued(started: Program) -> Path:
    """The rescue copy that the last words name."""
    words = " ".join(line.strip() for line in started.last_words.splitlines())
    found = re.search(r"is in (\S+\.json):", words.replace("- ", "-")) or re.search(r"is in (\S+\.json)", words)
    assert found, started.last_words
    return Path(found[1])


WAYS_OUT = [signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGQUIT]


@pytest.mark.parametrize("controlling", [True, pytest.param(False, marks=SLOW)])
@pytest.mark.parametrize("number", [WAYS_OUT[0], *(pytest.param(number, marks=SLOW) for number in WAYS_OUT[1:])])
def test_a_signal_saves_and_gives_the_terminal_back(number: signal.Signals, controlling: bool, tmp_path: Path) -> None:
    with program(tmp_path, Launch(controlling=controlling)) as started:
        started.answer()
        started.process.send_signal(number)
        assert started.ends() == 128 + number
        terminal_is_as_found(started)
        assert "NOT SAVED" not in started.last_words
        assert "Traceback" not in started.said
        assert has_label(started.map)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("controlling", "ignored"),
    [
        pytest.param(True, (), marks=SLOW, id="hung up"),
        pytest.param(True, (signal.SIGHUP,), id="as under nohup"),
        pytest.param(False, (), marks=SLOW, id="no controlling terminal"),
    ],
)
def test_the_terminal_goes_away(controlling: bool, ignored: tuple[signal.Signals, ...], tmp_path: Path) -> None:
    with program(tmp_path, Launch(controlling=controlling, ignored=ignored)) as started:
        started.answer()
        started.hang_up()
        assert started.ends() == 128 + signal.SIGHUP
        with MapFile.open(tmp_path / "kept.json") as file:  # and let go of
            assert has_label(file.map)


@pytest.mark.slow
@pytest.mark.parametrize("way", ["key", "signal", "terminal", "fault"])
def test_the_board_is_dark_before_the_last_save(way: str, tmp_path: Path) -> None:
    planted = TROUBLE + "from probe.ui.app import ProbeApp\nProbeApp.action_help = lambda self: 1 / 0\n"
    arguments = ("demo", "--keep", "kept.json", "--transcript", "wire.log")
    with program(tmp_path, Launch(arguments, planted, ignored=(signal.SIGHUP,))) as started:
        started.answer()
        started.until("45 (46th) of 84   ● LIT")
        match way:
            case "key":
                started.send(QUIT)
            case "signal":
                started.process.send_signal(signal.SIGTERM)
            case "terminal":
                started.hang_up()
            case _:
                started.send("\x1bOP")
        started.ends()
    for log in ("on-the-wire", "wire.log"):  # before the save, and at the end
        orders = [e.data for e in read_transcript(tmp_path / log) if e.direction == "out"]
        shown = [order for order in orders if b"light" in order or b"dark" in order]
        assert b"dark all" in shown[-1], (log, shown[-3:])


@pytest.mark.slow
def test_a_hang_up_that_is_ignored_changes_nothing(tmp_path: Path) -> None:
    with program(tmp_path, Launch(ignored=(signal.SIGHUP,))) as started:
        started.until("LIT")
        started.process.send_signal(signal.SIGHUP)
        started.answer()
        started.send(QUIT)
        assert started.ends() == Exit.FINE


@pytest.mark.slow
def test_leaving_twice_is_leaving_once(tmp_path: Path) -> None:
    with program(tmp_path) as started:
        started.answer()
        started.send(QUIT + QUIT)
        started.send(QUIT)
        assert started.ends() == Exit.FINE
        terminal_is_as_found(started)
        assert "demo --keep" in started.last_words
        assert has_label(started.map)


@pytest.mark.slow
@pytest.mark.parametrize(
    "trouble", [pytest.param("hangs", id="a disk that hangs"), pytest.param("fails", id="a full disk", marks=SLOW)]
)
@pytest.mark.parametrize("way", ["key", pytest.param("signal", marks=SLOW), pytest.param("both", marks=SLOW)])
def test_what_cannot_be_saved_is_in_the_rescue_copy(way: str, trouble: str, tmp_path: Path) -> None:
    with program(tmp_path, launched()) as started:
        unsaved_answer(started, f"map={trouble}")
        begin = time.monotonic()
        if way in ("key", "both"):
            started.send(QUIT)
            if trouble == "fails" and way == "key":  # the person is asked, and leaves all the same
                started.until("Try again")
                started.send("l")
            started.read(0.2)
        if way in ("signal", "both"):
            started.process.send_signal(signal.SIGTERM)
        assert started.ends() == Exit.RESCUED
        assert time.monotonic() - begin < GONE_S + GRACE_S
        terminal_is_as_found(started)
        copy = rescued(started)
        assert copy.parent == tmp_path / "state" / "playfield-probe"
        assert has_label(load_map(copy))
        assert not has_label(started.map)
        assert "kept.json" in started.last_words


@pytest.mark.slow
def test_what_cannot_be_saved_is_in_the_rescue_copy_when_nobody_can_be_told(tmp_path: Path) -> None:
    with program(tmp_path, launched(ignored=(signal.SIGHUP,))) as started:
        unsaved_answer(started, "map=hangs")
        started.hang_up()
        assert started.ends() == Exit.RESCUED
        (copy,) = (tmp_path / "state" / "playfield-probe").glob("*rescue*")
        assert has_label(load_map(copy))


@pytest.mark.slow
@pytest.mark.parametrize("state", ["fails", "hangs"])
def test_where_one_place_takes_no_copy_the_next_one_does(state: str, tmp_path: Path) -> None:
    with program(tmp_path, launched()) as started:
        unsaved_answer(started, f"map=hangs state={state}")
        started.process.send_signal(signal.SIGTERM)
        assert started.ends() == Exit.RESCUED
        copy = rescued(started)
        assert copy.parent == tmp_path / "tmp"
        assert has_label(load_map(copy))


@pytest.mark.slow
def test_where_no_place_takes_a_copy_the_answers_are_said(tmp_path: Path) -> None:
    launch = launched(arguments=("demo", "--keep", "ke\x1b]0;x\x07pt.json"))
    with program(tmp_path, launch) as started:
        unsaved_answer(started, "map=fails state=fails temporary=fails memory=fails")
        started.process.send_signal(signal.SIGTERM)
        assert started.ends() == Exit.RESCUED
        terminal_is_as_found(started)
        assert LABEL in started.last_words
        assert r"ke\x1b]0;x\x07pt.json" in started.last_words
        assert "\x1b]" not in started.last_words
        assert "\x07" not in started.last_words


@pytest.mark.slow
def test_a_fault_of_ours_with_a_disk_that_hangs(tmp_path: Path) -> None:
    planted = TROUBLE + "from probe.ui.app import ProbeApp\nProbeApp.action_help = lambda self: 1 / 0\n"
    with program(tmp_path, Launch(planted=planted)) as started:
        unsaved_answer(started, "map=hangs")
        started.send("\x1bOP")
        assert started.ends() == Exit.RESCUED
        terminal_is_as_found(started)
        assert "a fault of this program" in started.last_words
        assert "Traceback" not in started.said
        assert has_label(load_map(rescued(started)))


@pytest.mark.slow
@pytest.mark.parametrize("trouble", ["", "map=hangs"], ids=["saved", "unsaved"])
def test_a_program_that_hangs_itself(trouble: str, tmp_path: Path) -> None:
    planted = TROUBLE + "from probe.ui.app import ProbeApp\n"
    planted += "def hang(self):\n    Path('hangs').touch()\n    while True: pass\nProbeApp.action_help = hang\n"
    with program(tmp_path, Launch(planted=planted)) as started:
        if trouble:
            unsaved_answer(started, trouble)
        else:
            started.answer()
            started.until("LIT")
        started.send("\x1bOP")
        while not (tmp_path / "hangs").exists():
            started.read(0.05)
        started.process.send_signal(signal.SIGTERM)
        assert started.ends() == (Exit.RESCUED if trouble else 128 + signal.SIGTERM)
        terminal_is_as_found(started)
        assert has_label(load_map(rescued(started)) if trouble else started.map)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("way", "trouble"),
    [("SIGTERM", ""), ("SIGHUP", ""), ("Ctrl+Q", ""), ("SIGTERM", "map=fails"), ("SIGHUP", "map=fails")],
)
def test_a_terminal_that_takes_nothing_more(way: str, trouble: str, tmp_path: Path) -> None:
    with program(tmp_path, launched()) as started:
        if trouble:
            unsaved_answer(started, trouble)
        else:
            started.answer()
        fill(started)
        for _ in range(5):  # more is drawn, which nobody reads either
            os.write(started.master, b"\x14")
            time.sleep(0.02)
        if way == "Ctrl+Q":
            os.write(started.master, QUIT.encode())
        else:
            started.process.send_signal(signal.Signals[way])
        started.process.wait(GONE_S + GRACE_S)
        left = Exit.FINE if way == "Ctrl+Q" else 128 + signal.Signals[way]
        assert started.process.returncode == (Exit.RESCUED if trouble else left)
        [saved] = started.folder.glob("state/playfield-probe/*.json") if trouble else [started.folder / "kept.json"]
        assert has_label(load_map(saved))


def fill(started: Program) -> None:
    """Write to the terminal until it takes nothing more: nobody reads what is drawn."""
    terminal = os.open(started.slave_name, os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
    try:
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(terminal, b" " * 4096)
    finally:
        os.close(terminal)


@pytest.mark.slow
def test_ended_while_it_is_stopped_it_leaves_the_terminal_to_the_shell(tmp_path: Path) -> None:
    with program(tmp_path) as started:
        started.answer()
        started.process.send_signal(signal.SIGTSTP)
        started.read(0.5)
        terminal_is_as_found(started)
        before = len(started.raw)
        started.process.send_signal(signal.SIGTERM)
        started.process.send_signal(signal.SIGCONT)
        assert started.ends() == 128 + signal.SIGTERM
        assert b"\x1b[?1049" not in started.raw[before:]
        terminal_is_as_found(started)
        assert has_label(started.map)
