"""No command lets a control character from outside through to the terminal, whatever field, heading, path or word it is in."""

from __future__ import annotations

import argparse
import ast
import csv
import io
import json
import shutil
import sys
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import SimpleNamespace
from typing import Any, get_args

import pytest
import serial.tools.list_ports

from probe.__main__ import main
from probe.cli.outcome import CommandParser, Exit
from probe.cli.parser import EXPORTS, build_parser
from probe.document.file import StorageError, demo_map_path, load_map
from probe.document.model import PlayfieldMap, Record
from probe.export import WRITERS
from probe.export.csv_records import CellForm, form_of
from tests.hostile.texts import ALL_ESCAPES, ESCAPES, unsafe_in
from tests.support.examples import first_now

ROOT = Path(__file__).resolve().parent.parent.parent

READING: dict[str, list[str]] = {
    "check": ["check", "{map}"],
    "power": ["power", "{map}"],
    "harness": ["harness", "{map}"],
    "plan": ["plan", "{map}", "--effort", "quick"],
    "plan splices": ["plan", "{map}", "--splice"],
    "plan slack": ["plan", "{map}", "--slack"],
    "plan table": ["plan", "{map}", "--csv", "--effort", "quick"],
    "plan json": ["plan", "{map}", "--json", "--effort", "quick"],
    "revisions": ["revisions", "{map}"],
    "diff": ["diff", "{map}", "{other}"],
    "diff revisions": ["diff", "{map}", "--from", "0"],
    "merge": ["merge", "{map}", "{other}", "--dry-run", "--choose", "theirs"],
    "worklist": ["worklist", "{map}"],
    "log": ["log", "{map}"],
    "photo": ["photo", "{map}"],
    "faults": ["faults", "{map}", "--joint", "1"],
    "sheet": ["sheet", "{map}"],
    "lamps": ["lamps", "{map}"],
    "lamps join": ["lamps", "{map}", "--join", "--dry-run"],
    "renumber": ["renumber", "{map}", "--change", "took out #1", "--dry-run"],
    "undo": ["undo", "{map}", "--dry-run"],
    "table": ["table", "{map}", "--port", "simulated://"],
    "walk": ["walk", "{map}", "--paper"],
    "recheck": ["recheck", "{map}"],
    **{f"export {to}": ["export", "{map}", "--to", to] for to in EXPORTS},
}
"""Every command that reads a map."""
NO_MAP = {"import", "ports", "board-check", "completion", "demo", "practice"}


@pytest.fixture(autouse=True)
def own_settings(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Nothing of this computer's settings is read."""
    monkeypatch.setenv("PLAYFIELD_PROBE_SETTINGS", str(tmp_path / "settings.json"))


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., str]:
    """Runs a command whose output is a terminal; what it printed, after holding it to the promise."""

    def once(words: list[str], **names: Path) -> str:
        monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
        try:
            code = main([word.format(other=demo_map_path(), **names) if "{" in word else word for word in words])
        except SystemExit as ended:  # the parser's
            code = int(ended.code or 0)
        printed = capsys.readouterr()
        assert code != Exit.INTERNAL, printed.err
        # a document has lines of its own, with the line ends of what it holds
        is_document = words[:1] in (["export"], ["sheet"]) or "--csv" in words
        assert not unsafe_in(printed.out, lines=not is_document), words
        assert not unsafe_in(printed.err), words
        return printed.out + printed.err

    return once


def small_map() -> dict[str, Any]:
    """The demo's half map with a few records of each kind, as JSON."""
    raw: dict[str, Any] = json.loads(demo_map_path("kelp_forest_half.json").read_text(encoding="utf-8"))
    raw["places"] = raw["places"][:6]
    known = {place["id"] for place in raw["places"]}
    raw["chains"] = raw["chains"][:1]
    raw["chains"][0]["pixels"] = [p for p in raw["chains"][0]["pixels"][:8] if p.get("place") in {None, *known}]
    raw["feeds"] = [feed for feed in raw["feeds"] if feed.get("chain") == raw["chains"][0]["id"]]
    raw["shapes"], raw["lamps"] = raw["shapes"][:2], raw["lamps"][:4]
    raw.pop("bookmark", None)
    return raw


def records_of(kind: type[Record], raw: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """(path, kind, record) of a map's JSON and all records in it."""
    yield at, kind, raw
    for name, field in kind.model_fields.items():
        inner = [k for k in _leaves(field.annotation) if isinstance(k, type) and issubclass(k, Record)]
        value = raw.get(name)
        rows: list[tuple[tuple[str | int, ...], Any]] = (
            ([((name,), value)] if isinstance(value, dict) else [((name, i), v) for i, v in enumerate(value or ())])
            if inner and value
            else []
        )
        for where, row in rows:
            if isinstance(row, dict):
                yield from records_of(inner[0], row, (*at, *where))


def _leaves(annotation: Any) -> Iterator[Any]:
    inner = [part for part in get_args(annotation) if part is not Ellipsis]
    if not inner:
        yield annotation
    for part in inner:
        yield from _leaves(part)


def sound(path: Path, raw: dict[str, Any]) -> bool:
    path.write_text(json.dumps(raw), encoding="utf-8")
    try:
        load_map(path)
    except StorageError:
        return False
    return True


def text_fields(raw: dict[str, Any]) -> list[tuple[dict[str, Any], str]]:
    """A record and the name of a text in it, one for each field of each kind of record in the map."""
    found: dict[tuple[type[Record], str], dict[str, Any]] = {}
    for _, kind, record in records_of(PlayfieldMap, raw):
        for name, field in kind.model_fields.items():
            if form_of(field)[0] is CellForm.TEXT:
                found.setdefault((kind, name), record)
    return [(record, name) for (_, name), record in found.items()]


@pytest.fixture(scope="module")
def hostile_map(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sound map with control characters in every text that may hold any."""
    path = tmp_path_factory.mktemp("hostile") / "map.json"
    raw = small_map()
    assert sound(path, raw)
    taken = 0

    def change(record: dict[str, Any], names: Sequence[str]) -> bool:
        """Control characters in all those fields, or in none if that is no sound map."""
        nonlocal taken
        before = dict(record)
        record.update({name: ALL_ESCAPES + record.get("id", "") for name in names})
        if sound(path, raw):
            taken += len(names)
            return True
        record.clear()
        record.update(before)
        return False

    refused: dict[type[Record], set[str]] = defaultdict(set)
    for _, kind, record in list(records_of(PlayfieldMap, raw)):
        texts = [name for name, field in kind.model_fields.items() if form_of(field)[0] is CellForm.TEXT]
        likely = [name for name in texts if name not in refused[kind]]
        at_once = change(record, likely)
        for name in sorted(refused[kind]) if at_once else texts:
            if not change(record, [name]):
                refused[kind].add(name)
    assert taken > 20
    assert sound(path, raw)
    return path


def test_every_command_is_walked() -> None:
    commands = next(a for a in build_parser()._actions if isinstance(a, argparse._SubParsersAction))
    assert set(commands.choices) == {words[0] for words in READING.values()} | NO_MAP
    assert all(type(parser) is CommandParser for parser in commands.choices.values())
    assert set(EXPORTS) == set(WRITERS)


@pytest.mark.slow
@pytest.mark.parametrize("name", first_now(READING, now=6))
def test_control_characters_in_every_text_of_a_map(
    name: str, hostile_map: Path, tmp_path: Path, run: Callable[..., str]
) -> None:
    path = Path(shutil.copy(hostile_map, tmp_path / "map.json"))
    assert run(READING[name], map=path)


@pytest.mark.parametrize("name", first_now(READING))
def test_an_unknown_key_of_a_map(name: str, tmp_path: Path, run: Callable[..., str]) -> None:
    path = tmp_path / "map.json"
    for key in ESCAPES.values():
        path.write_text(json.dumps({**small_map(), key: 1}), encoding="utf-8")
        assert "is not known here" in run(READING[name], map=path)


@pytest.mark.slow
def test_every_record_and_field_of_a_map(tmp_path: Path, run: Callable[..., str]) -> None:
    path = tmp_path / "map.json"
    raw = small_map()
    for _, _, record in {kind: (a, kind, r) for a, kind, r in records_of(PlayfieldMap, raw)}.values():
        record[ALL_ESCAPES] = 1
        path.write_text(json.dumps(raw), encoding="utf-8")
        assert "is not known here" in run(["check", "{map}"], map=path)
        del record[ALL_ESCAPES]
        for name in list(record):
            kept, record[name] = record[name], ALL_ESCAPES
            path.write_text(json.dumps(raw), encoding="utf-8")
            run(["check", "{map}"], map=path)
            record[name] = kept


@pytest.mark.parametrize(
    "given",
    first_now(
        [
            {ALL_ESCAPES: 1},
            {"theme": ALL_ESCAPES},
            {"keys": {ALL_ESCAPES: "x"}},
            {"ports": {ALL_ESCAPES: {ALL_ESCAPES: 1}}},
        ],
        now=3,
    ),
)
def test_settings(given: dict[str, Any], tmp_path: Path, run: Callable[..., str]) -> None:
    (tmp_path / "settings.json").write_text(json.dumps(given), encoding="utf-8")
    path = Path(shutil.copy(demo_map_path(), tmp_path / "map.json"))
    for words in (["walk", "{map}", "--paper"], ["demo"], []):
        assert run(words, map=path)


@pytest.mark.slow
def test_settings_with_a_hostile_port(tmp_path: Path, run: Callable[..., str]) -> None:
    path = Path(shutil.copy(demo_map_path(), tmp_path / "map.json"))
    for address in ESCAPES.values():
        port = {str(path): {"address": address}}
        (tmp_path / "settings.json").write_text(json.dumps({"ports": port}), encoding="utf-8")
        assert run(["table", "{map}"], map=path)


@pytest.mark.slow
def test_a_table_with_hostile_headings_and_cells(tmp_path: Path, run: Callable[..., str]) -> None:
    path, table = Path(shutil.copy(demo_map_path(), tmp_path / "map.json")), tmp_path / "table.csv"
    rows = list(csv.reader(io.StringIO(WRITERS["csv"](load_map(path)))))[:6]
    lamps = [
        ["number", "name", "area", "kind", "driver", "group", "note"],
        ["1", "Otter", "Reef", "insert", "q1", "", ""],
    ]
    for which, words in (
        (rows, ["import", "{table}", "-o", "{made}"]),
        (lamps, ["lamps", "{map}", "--from", "{table}", "--dry-run"]),
    ):
        each = [(ALL_ESCAPES, r, c) for r in range(2) for c in range(len(which[0]))]
        for escape, row, column in [*((escape, 0, None) for escape in ESCAPES.values()), *each]:
            made = [list(r) for r in which]
            for c in range(len(made[row])) if column is None else (column,):
                made[row][c] = escape
            file = io.StringIO()
            csv.writer(file).writerows(made)
            table.write_text(file.getvalue(), encoding="utf-8", newline="")
            run(words, map=path, table=table, made=tmp_path / "made.json")
            (tmp_path / "made.json").unlink(missing_ok=True)


@pytest.mark.slow
def test_paths_and_words_of_the_command_line(tmp_path: Path, run: Callable[..., str]) -> None:
    path = Path(shutil.copy(demo_map_path(), tmp_path / "map.json"))
    for name, escape in ESCAPES.items():
        given = escape.replace("\x00", "\x01") if name == "NUL" else escape  # no system hands a NUL over
        missing = str(tmp_path / given.replace("/", ""))
        for words in READING.values():
            assert run([missing if word == "{map}" else word for word in words])
        for words in (
            [given],
            ["check", given, given],
            ["check", f"--{given}"],
            ["export", "{map}", "--to", given],
            ["faults", "{map}", "--joint", given],
            ["faults", "{map}", "--chain", given, "--joint", "1"],
            ["lamps", "{map}", "--from", missing],
            ["lamps", "{map}", "--columns", given],
            ["renumber", "{map}", "--change", given],
            ["renumber", "{map}", "--change", "took out #1", "--reason", given, "--dry-run"],
            ["merge", "{map}", missing],
            ["merge", "{map}", "{other}", "--choose", given],
            ["plan", "{map}", "--splice", given],
            ["plan", "{map}", "--dead", given],
            ["plan", "{map}", "--chain", given, "--dead", "1"],
            ["worklist", "{map}", "--moment", given],
            ["photo", "{map}", given, "--place", given],
            ["photo", "{map}", given, "--joint", f"{given}:1"],
            ["sheet", "{map}", "--picture", missing],
            ["import", missing, "-o", "{map}"],
            ["board-check", given],
            ["board-check", "simulated://", "--restore", missing],
            ["board-check", "simulated://", "--only", given],
            ["table", "{map}", "--port", given],
            ["walk", "{map}", "--lamps", missing],
            ["completion", given],
        ):
            assert run(words, map=path)


def test_what_devices_call_themselves(monkeypatch: pytest.MonkeyPatch, run: Callable[..., str]) -> None:
    text = dict.fromkeys(("device", "serial_number", "location", "manufacturer", "product", "description"), ALL_ESCAPES)
    ports = [SimpleNamespace(**text, vid=None, pid=None), SimpleNamespace(**text, vid=0x2341, pid=0x43)]
    monkeypatch.setattr(serial.tools.list_ports, "comports", lambda: ports)
    assert run(["ports"])
    assert run(["ports", "--json"])


@pytest.mark.slow
def test_json_stays_exact(hostile_map: Path, run: Callable[..., str]) -> None:
    name = load_map(hostile_map).machine.name
    assert ALL_ESCAPES in name
    found = json.loads(run(["diff", "{map}", "{other}", "--json"], map=hostile_map))
    assert any(name in change.values() for change in found["changes"])


@pytest.mark.slow
def test_a_document_is_exact_unless_it_is_read_on_a_terminal(
    hostile_map: Path, capsysbinary: pytest.CaptureFixture[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    for to in EXPORTS:
        monkeypatch.setattr(sys.stdout, "isatty", lambda: False, raising=False)
        assert main(["export", str(hostile_map), "--to", to]) == Exit.FINE
        assert capsysbinary.readouterr().out == WRITERS[to](load_map(hostile_map)).encode()


@pytest.mark.slow
def test_nothing_else_writes_to_the_terminal() -> None:
    """In all of the program, but for the files named here, nothing prints or names the standard streams."""
    only = {
        "probe/cli/outcome.py": {"sys.stdin", "sys.stdout", "sys.stderr", "os.write"},
        "probe/cli/run.py": {"sys.stdout"},  # its number only
        "probe/cli/screens.py": {"sys.__stdin__", "sys.__stderr__"},  # whether they are terminals
        "probe/document/file/trouble.py": {"sys.stderr"},  # escapes what it writes
        "probe/document/file/disk.py": {"os.write"},  # files
        "probe/ui/terminal.py": {"sys.__stderr__", "os.write"},  # what Textual drew
        "probe/ui/key_table.py": {"sys.stdout"},  # a page of the guide, of our own rows
        "probe/__main__.py": {"print"},  # the version
    }
    watched = {f"sys.{dunder}{name}{dunder}" for dunder in ("", "__") for name in ("stdin", "stdout", "stderr")}
    for file in sorted((ROOT / "probe").rglob("*.py")):
        name = file.relative_to(ROOT).as_posix()
        found = set()
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Name) and node.id in ("print", "pprint", "breakpoint", "input"):
                found.add(node.id)
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                words = f"{node.value.id}.{node.attr}"
                if words in watched or words in ("os.write", "os.writev", "traceback.print_exc", "logging.basicConfig"):
                    found.add(words)
            if isinstance(node, ast.ImportFrom) and node.module == "sys":
                found |= {f"sys.{alias.name}" for alias in node.names} & watched
        assert found <= only.get(name, set()), name
