"""The command as a person or a script runs it: output, exit codes, no traceback."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from probe.__main__ import main
from probe.cli.outcome import Exit
from probe.cli.parser import build_parser
from probe.document.document import rescue_folders
from probe.document.file import demo_map_path, load_map
from probe.document.file.atomic import named_after, previous_name

ROOT = Path(__file__).resolve().parent.parent.parent


def command(*arguments: str, folder: Path, **more: str) -> subprocess.CompletedProcess[bytes]:
    environment = {
        **os.environ,
        "PLAYFIELD_PROBE_SETTINGS": str(folder / "settings.json"),
        "PYTHONPATH": str(ROOT),
        **more,
    }
    return subprocess.run(
        [sys.executable, "-m", "probe", *arguments],
        cwd=folder,
        env=environment,
        capture_output=True,
        timeout=60,
        check=False,
    )


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    path = tmp_path / "kelp.json"
    shutil.copy(demo_map_path(), path)
    return path


def test_version_and_help(tmp_path: Path) -> None:
    assert command("--version", folder=tmp_path).stdout.startswith(b"playfield-probe ")
    shown = command("--help", folder=tmp_path)
    assert shown.returncode == Exit.FINE
    for word in (b"demo", b"walk", b"export", b"exit codes"):
        assert word in shown.stdout


def test_wrong_words_are_a_usage_error(tmp_path: Path) -> None:
    assert command("exprot", folder=tmp_path).returncode == Exit.USAGE
    assert command("export", "x.json", "--to", "xml", folder=tmp_path).returncode == Exit.USAGE


@pytest.mark.parametrize(
    "line", [["check", "a.json", "b", "c"], ["demo", "--loud"], ["export", "a.json", "--to", "csv", "--loud"]]
)
def test_a_word_that_a_command_does_not_know_shows_how_that_command_is_used(
    line: list[str], capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        build_parser().parse_args(line)
    said = capfd.readouterr().err
    assert ended.value.code == Exit.USAGE
    assert said.startswith(f"usage: playfield-probe {line[0]} "), said
    last = said.rstrip().splitlines()[-1]
    assert last == f"playfield-probe {line[0]}: error: unknown argument" + (
        ": --loud" if "--loud" in line else "s: b c"
    )


@pytest.mark.slow
def test_export_and_import_make_the_same_map(demo: Path, tmp_path: Path) -> None:
    done = command("export", str(demo), "--to", "csv", "-o", "out.csv", folder=tmp_path)
    assert (done.returncode, done.stderr) == (Exit.FINE, b"")
    assert list(csv.reader(io.StringIO((tmp_path / "out.csv").read_bytes().decode("utf-8-sig"))))
    done = command("import", "out.csv", "-o", "again.json", folder=tmp_path)
    assert (done.returncode, done.stderr) == (Exit.FINE, b"")
    assert load_map(tmp_path / "again.json") == load_map(demo)
    again = command("import", "out.csv", "-o", "again.json", folder=tmp_path)
    assert again.returncode == Exit.FILE
    assert b"there is a file already" in again.stderr


def test_export_to_standard_output_is_json(demo: Path, tmp_path: Path) -> None:
    done = command("export", str(demo), "--to", "json", folder=tmp_path)
    assert done.returncode == Exit.FINE
    assert json.loads(done.stdout)


def test_export_over_the_map_itself_is_refused(demo: Path, tmp_path: Path) -> None:
    before = demo.read_bytes()
    done = command("export", str(demo), "--to", "csv", "-o", str(demo), folder=tmp_path)
    assert done.returncode == Exit.USAGE
    assert demo.read_bytes() == before


def test_check_says_what_and_its_code_is_for_scripts(demo: Path, tmp_path: Path) -> None:
    assert command("check", str(demo), folder=tmp_path).returncode == Exit.FINE
    text = demo.read_text(encoding="utf-8")
    spoiled = text.replace('"state": "repeater"', '"state": "repeater", "place": "launch-arrow"', 1)
    assert spoiled != text
    demo.write_text(spoiled, encoding="utf-8")
    done = command("check", str(demo), folder=tmp_path)
    assert done.returncode == Exit.FINDINGS
    assert b"repeater" in done.stdout
    as_json = json.loads(command("check", str(demo), "--json", folder=tmp_path).stdout)
    assert {"code", "severity", "where", "what", "what_to_do"} <= set(as_json[0])


def test_ports_as_json(tmp_path: Path) -> None:
    done = command("ports", "--json", folder=tmp_path)
    assert done.returncode == Exit.FINE
    assert isinstance(json.loads(done.stdout), list)


@pytest.mark.slow
@pytest.mark.parametrize("shell", ["bash", "zsh", "tcsh"])
def test_completion_scripts(shell: str, tmp_path: Path) -> None:
    done = command("completion", shell, folder=tmp_path)
    assert done.returncode == Exit.FINE
    assert b"export" in done.stdout
    if shell == "bash":
        script = tmp_path / "complete.sh"
        script.write_bytes(done.stdout)
        assert subprocess.run(["bash", "-n", str(script)], check=False).returncode == 0


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (b"{", "line 1"),
        (b'{"format": "something else", "version": 1}', "format"),
        (b'{"format": "playfield-probe map", "version": 99}', "Install a later"),
        (b"\xff\xfe\x00", "UTF-8"),
    ],
)
def test_a_damaged_file_is_told_with_its_place_and_left_alone(
    content: bytes, word: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))
    path = tmp_path / "bad.json"
    path.write_bytes(content)
    for arguments in (["export", "bad.json", "--to", "csv"], ["walk", "bad.json", "--paper"], ["check", "bad.json"]):
        assert main(arguments) == Exit.FILE
        said = capsys.readouterr().err
        assert "bad.json" in said
        assert "Traceback" not in said
        assert len(said.splitlines()) == 1
        assert path.read_bytes() == content
    assert word in said
    done = command("check", "bad.json", folder=tmp_path)
    assert (done.returncode, done.stderr.decode()) == (Exit.FILE, said)


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    done = command("check", "nowhere.json", folder=tmp_path)
    assert done.returncode == Exit.FILE
    assert b"nowhere.json" in done.stderr
    assert list(tmp_path.iterdir()) == [], "nothing is left behind"


def test_a_map_that_another_program_holds_is_refused(demo: Path, tmp_path: Path) -> None:
    from probe.document.file import MapFile

    with MapFile.open(demo):
        done = command("walk", str(demo), "--paper", folder=tmp_path)
    assert done.returncode == Exit.FILE
    assert b"kelp.json" in done.stderr


def test_broken_settings_are_told_with_line_and_field(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "settings.json").write_text('{\n "brightness_percent": "bright"\n}', encoding="utf-8")
    done = command("walk", str(demo), "--paper", folder=tmp_path)
    assert done.returncode == Exit.FILE
    assert b"settings.json" in done.stderr
    assert b"brightness_percent" in done.stderr


@pytest.mark.slow
def test_a_key_for_a_command_that_there_is_not_is_told_and_stops_nothing(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "settings.json").write_text('{"keys": {"walk.udno": "ctrl+u", "[/x]": "f9"}}', encoding="utf-8")
    done = command("walk", str(demo), "--paper", folder=tmp_path)
    assert done.returncode == Exit.USAGE  # there is no terminal here, and only that is why
    assert b"settings.json: keys: no command is called '[/x]'. " in done.stderr
    assert b"settings.json: keys: no command is called 'walk.udno' (is 'walk.undo' meant?). " in done.stderr
    assert b"needs a terminal" in done.stderr


def test_a_bad_lamp_list_is_told(demo: Path, tmp_path: Path) -> None:
    (tmp_path / "lamps.csv").write_text("number,name\nseven,Reef lane 1\n", encoding="utf-8")
    done = command("walk", str(demo), "--paper", "--lamps", "lamps.csv", folder=tmp_path)
    assert done.returncode == Exit.FILE, done.stderr
    assert b"lamps.csv" in done.stderr
    assert b"line 2" in done.stderr


def test_help_says_where_a_rescue_copy_goes_and_what_the_files_beside_a_map_are(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOME", "/home/otter")
    monkeypatch.delenv("XDG_STATE_HOME", raising=False)
    with pytest.raises(SystemExit):
        main(["--help"])
    told = " ".join(capsys.readouterr().out.split())
    state, *_, memory = (str(folder).replace("/home/otter", "~") for folder in rescue_folders())
    assert told.index(state) < told.index("temporary") < told.index(memory)
    assert str(named_after(Path("NAME"), ".", ".lock")) in told
    assert str(named_after(Path("NAME"), ".", ".holder")) in told
    assert str(previous_name(Path("NAME"))) in told


WRITING = {
    "export": ["export", "{map}", "--to", "csv", "-o", "{out}"],
    "import": ["import", "{csv}", "-o", "{out}"],
    "merge": ["merge", "{map}", "{map}", "-o", "{out}"],
    "sheet": ["sheet", "{map}", "-o", "{out}"],
}


def test_every_command_that_writes_a_file_says_where_it_is(
    demo: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    parsers = next(a for a in build_parser()._actions if isinstance(a.choices, dict)).choices
    assert isinstance(parsers, dict)
    assert {name for name, one in parsers.items() if "--output" in one._option_string_actions} == set(WRITING)
    sheet = tmp_path / "first.csv"
    assert main(["export", str(demo), "--to", "csv", "-o", str(sheet)]) == Exit.FINE
    for name, words in WRITING.items():
        out = tmp_path / f"made by {name}"
        capsys.readouterr()
        assert main([word.format(map=demo, csv=sheet, out=out) for word in words]) == Exit.FINE, name
        assert out.stat().st_size
        assert str(out) in capsys.readouterr().out, name
    assert main(["sheet", str(demo), "--picture", str(tmp_path / "p.svg")]) == Exit.FINE
    assert "p.svg" in capsys.readouterr().out


def test_a_check_counts_in_singular_and_plural(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    half = tmp_path / "half.json"
    shutil.copy(demo_map_path("kelp_forest_half.json"), half)
    main(["check", str(half)])
    counts = capsys.readouterr().out.splitlines()[-1]
    for number, words in re.findall(r"(\d+) ([a-z]+)", counts):
        assert words.endswith("s") is (number != "1"), counts
    assert len(re.findall(r"\d+", counts)) == 3


def test_a_check_on_a_terminal_breaks_no_word(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    half = tmp_path / "half.json"
    shutil.copy(demo_map_path("kelp_forest_half.json"), half)
    main(["check", str(half)])
    whole = capsys.readouterr().out.splitlines()
    assert max(map(len, whole)) > 80, "in a file or a pipe each finding is one line"
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "80")
    main(["check", str(half)])
    folded = capsys.readouterr().out.splitlines()
    assert max(map(len, folded)) < 80
    assert " ".join(" ".join(folded).split()) == " ".join(" ".join(whole).split())
    assert all(
        line.startswith("    ") or line in whole or line.split(":")[0] in ("fault", "warning", "hint")
        for line in folded
    )


@pytest.mark.parametrize(
    "words",
    [
        ["check", "nowhere/a_map_with_quite_a_long_name.json"],
        ["export", "--to", "a format that is nowhere", "map.json"],
    ],
)
def test_an_error_on_a_terminal_breaks_no_word(
    words: list[str], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def errors() -> list[str]:
        with contextlib.suppress(SystemExit):
            main(words)
        lines = capsys.readouterr().err.splitlines()
        return lines[next(i for i, line in enumerate(lines) if line.startswith("playfield-probe")) :]

    whole = errors()
    assert len(whole) == 1, "in a file or a pipe an error is one line"
    assert len(whole[0]) > 80
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "60")
    folded = errors()
    assert max(map(len, folded)) < 60
    assert " ".join(" ".join(folded).split()) == whole[0]
    assert all(line.startswith("    ") for line in folded[1:])


def test_a_wrong_word_names_what_was_most_likely_meant(capsys: pytest.CaptureFixture[str]) -> None:
    for words, hint in (
        (["chek"], "did you mean check?"),
        (["export", "m.json", "--to", "xyzzy"], "there are csv, json"),
    ):
        with pytest.raises(SystemExit) as ended:
            main(words)
        assert ended.value.code == Exit.USAGE
        assert hint in capsys.readouterr().err


def test_the_help_of_every_command_fits_and_says_what_it_is_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    parser = build_parser()
    parsers = next(a for a in parser._actions if isinstance(a.choices, dict)).choices
    assert isinstance(parsers, dict)
    for one in (parser, *parsers.values()):
        shown = one.format_help()
        assert one.description
        assert one.description.endswith(".")
        assert one.description.split()[0] in shown
        long = [line for line in shown.splitlines() if len(line) > 79 and " " in line.strip()]
        assert not long, long
