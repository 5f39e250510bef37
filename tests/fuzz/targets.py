"""What is fuzzed, and what has to hold for any bytes at all. A target raises AssertionError, or lets a fault out."""

from __future__ import annotations

import random
import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import device_protocol.board
import device_protocol.board.handlers
import device_protocol.framing
import device_protocol.lamp_table
import device_protocol.orders.base
import device_protocol.orders.identity
import device_protocol.orders.notices
import device_protocol.session
import probe.document.file.reading
import probe.export.cells
import probe.export.csv_map
import probe.export.csv_records
import probe.export.lamp_list
from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.framing import crc16, seal
from device_protocol.orders import (
    Identify,
    LightPixel,
    Linger,
    Order,
    Play,
    ReadEdges,
    ReadInputs,
    ReadOutputState,
    ReadPattern,
    ReadTable,
    ReadTableState,
    SetupOutput,
    Silence,
)
from device_protocol.session import HostSession, Phase
from device_protocol.values import Colour
from probe.document.file import StorageError, demo_map_path, load_map
from probe.document.file.layout import render_map
from probe.document.file.reading import parse_map, validated
from probe.document.model import Chain, Lamp, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count, set_lamps
from probe.document.settings import Settings, settings_text
from probe.export import ImportProblem, read_lamp_list
from probe.export.csv_map import read_csv, write_csv
from probe.link import LinkError
from probe.link.replay import entry_text, read_transcript
from tests.fuzz.mutator import Mutator
from tests.protocol.conversation import all_conversations, sealed

_CONFIG = BoardConfig(pixels=40, outputs=2, table_bytes=300)
_ORDER_LINES = tuple(
    sealed(">" + step.rest) + b"\n" for each in all_conversations() for step in each.steps if step.verb == ">"
)
_PATH = Path("fuzzed")
_HINT = "Mend it"


@dataclass(frozen=True)
class Target:
    """One reader: how its inputs are made, what runs it, its share of the inputs, and the modules whose lines count."""

    name: str
    make: Callable[[random.Random], Mutator]
    run: Callable[[bytes], None]
    share: int
    modules: tuple[object, ...]


# --- the board's parser ---


def _board_corpus(rng: random.Random) -> Mutator:
    small = b">00 setup 0 16 GRB 300 2000"
    setup = small + b"*%04X\n" % crc16(small)
    whole = [
        b"".join(sealed(">" + step.rest) + b"\n" for step in each.steps if step.verb == ">")[:4096]
        for each in all_conversations()
    ]
    several = [setup + b"".join(rng.sample(_ORDER_LINES, 4)) for _ in range(60)]
    return Mutator(
        rng, [*_ORDER_LINES, *several, *whole, b"?\n", b"\n"], (b">00 ", b" all", b"*0000\n", b"FFFFFF", b"p65535"),
        seal_lines=True,
    )  # fmt: skip


def _in_words(refusal: Exception) -> None:
    """A refusal says something, and names no Python."""
    words = str(refusal)
    assert words
    assert "Traceback" not in words
    assert "object at 0x" not in words


def board_parser(data: bytes) -> None:
    """Exactly one sound reply for each non-empty line, whole or byte by byte alike; memory bounded."""
    board = ProtocolBoard(_CONFIG)
    board.tick(0)
    said = board.receive_data(data, 1)
    lines = said.split(b"\n")
    assert lines.pop() == b""
    replies = 0
    for line in lines:
        assert len(line) <= 255
        found = re.fullmatch(rb"([<!~])(?:[0-9A-F]{2}|--) [ -)+-~]+\*([0-9A-F]{4})", line)
        assert found is not None, line
        assert crc16(line[:-5]) == int(found[2], 16)
        replies += found[1] != b"~"
    asked = sum(1 for line in data.split(b"\n")[:-1] if line not in (b"", b"\r"))
    assert replies == asked, (replies, asked)
    if len(data) < 200:
        again = ProtocolBoard(_CONFIG)
        again.tick(0)
        piecewise = b"".join(again.receive_data(data[at : at + 1], 1) for at in range(len(data))).split(b"\n")[:-1]
        assert [line for line in piecewise if line[:1] != b"~"] == [line for line in lines if line[:1] != b"~"]
    board.tick(100_000)
    for output in board.outputs:
        assert len(output.picture) <= _CONFIG.pixels
        assert len(output.staged) <= output.count


# --- the host's parser ---

_ASKED: tuple[Order, ...] = (
    Identify(), LightPixel(0, 3, Colour(9, 0, 0)), SetupOutput(0, 10, "GRB", 900), Silence(1000), ReadOutputState(0), ReadTableState(),
    ReadTable(0, 4), Play(), ReadPattern(0), ReadInputs(1), ReadEdges(1), Linger(25),
)  # fmt: skip
_IDENTITY = ProtocolBoard(_CONFIG)


def _host_corpus(rng: random.Random) -> Mutator:
    replies: list[bytes] = [seal(f"~{n:02X} {words}") for n, words in enumerate(
        ("restarted power", "button 3", "dark silence", "inputs 1 FF", "play game", "sparkle 1 2")
    )]  # fmt: skip
    board = ProtocolBoard(_CONFIG)
    for line in _ORDER_LINES:
        body = line[: line.rindex(b"*")]
        body = b">02" + body[3:]
        replies += [one + b"\n" for one in board.receive_data(body + b"*%04X\n" % crc16(body), 1).split(b"\n")[:-1]]
    return Mutator(rng, replies, (b"<02 ok", b"!02 ", b"!-- 11 checksum", b"~00 ", b"=", b","), seal_lines=True)


def host_parser(data: bytes) -> None:
    """No bytes raise; the session stands in one of its states, and time always ends an order."""
    session = HostSession()
    asked = session.connect(0)
    session.receive_data(ProtocolBoard(_CONFIG).receive_data(asked, 0), 1)
    phases = [session.phase]
    assert phases == [Phase.READY]
    session.send(_ASKED[len(data) % len(_ASKED)], 2)
    session.receive_data(data, 3)
    now = 4.0
    for _ in range(64):
        if session.phase is not Phase.ASKING:
            break
        now = max(now, session.next_deadline_ms() or now) + 1
        session.tick(now)
    phases.append(session.phase)
    assert phases[1] in (Phase.READY, Phase.LOST), phases


# --- tables and files ---


def small_map() -> PlayfieldMap:
    """A map with a bit of everything that is cheap to read."""
    map_ = new_map("Kelp Forest")
    map_ = set_lamps(map_, (Lamp(number=1, name="Otter bonus"), Lamp(number=2, name="Reef lane", row=1, column=2)))
    map_ = set_count(add_chain(map_, Chain(id="a", name="Playfield", output=0, count=4)), "a", 4)
    for number, label in enumerate(("Reef lane", "Otter, bonus", 'Kelp "bed"')):
        map_, place = add_place(map_, label, area="Left")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


def _csv_corpus(rng: random.Random) -> Mutator:
    text = write_csv(small_map())
    demo = write_csv(load_map(demo_map_path())).encode()
    return Mutator(
        rng, [demo, *[text.encode()] * 4, text.replace(",", ";").encode(), text.replace("\n", "\r\n").encode("utf-16")],
        (b"place", b"pixel", b"chain", b"machine", b"placed", b"unseen", b'""', b"playfield", b",,,"),
    )  # fmt: skip


def csv_map(data: bytes) -> None:
    """A map, which comes back from its own table equal; or a refusal with words."""
    try:
        map_ = read_csv(data)
    except ImportProblem as problem:
        _in_words(problem)
        return
    assert read_csv(write_csv(map_)) == map_


def _lamps_corpus(rng: random.Random) -> Mutator:
    texts = (
        "number,name,area,kind\n7,Otter bonus 1,Otter den,insert\n8,Reef,,flasher\n",
        "Name;Row;Column\nOtter;1;2\nReef;8;8\n",
        "#\tDescription\tArea\tClass\n 7 \tOtter bonus 1\tOtter den\tINSERTS\n",
    )
    return Mutator(rng, [text.encode() for text in texts], (b"number", b"name", b"row", b"column", b"7-9", b"GI"))


def lamp_list(data: bytes) -> None:
    """Lamps, or a refusal with words."""
    try:
        read_lamp_list(data)
    except ImportProblem as problem:
        _in_words(problem)


def _map_corpus(rng: random.Random) -> Mutator:
    return Mutator(
        rng, [*[render_map(small_map())] * 4, demo_map_path().read_bytes(), b"{}\n"],
        (b'"id": ', b'"places": [', b'"version": 2', b'"format"', b'"state": "placed"', b"true", b'"x": 1, ', b"{}, "),
    )  # fmt: skip


def map_file(data: bytes) -> None:
    """A map, which comes back from its own file equal; or a refusal with words."""
    try:
        map_ = parse_map(_PATH, data, _HINT)
    except StorageError as error:
        _in_words(error)
        return
    assert parse_map(_PATH, render_map(map_), _HINT) == map_


def _settings_corpus(rng: random.Random) -> Mutator:
    texts = (
        Settings(), Settings(bell=False, theme="high-contrast", keys={"walk.take": "f5"}, recent=("/a", "/b")),
    )  # fmt: skip
    return Mutator(rng, [settings_text(each).encode() for each in texts], (b'"theme": ', b'"bell": ', b"[", b"true"))


def settings_file(data: bytes) -> None:
    """Settings, or a refusal with words."""
    try:
        text = probe.document.file.reading.decode(_PATH, data, _HINT)
        validated(_PATH, Settings, text, _HINT)
    except StorageError as error:
        _in_words(error)


_FOLDER = tempfile.TemporaryDirectory(prefix="playfield-probe-fuzz-")


def _transcript_corpus(rng: random.Random) -> Mutator:
    text = "".join(entry_text(1.0, d, b'>01 id*ECDA"\\\xff\n') + "\n" for d in ("open", "out", "in", "end"))
    return Mutator(rng, [text.encode()], (b" in ", b" out ", b'"', b"\\x4", b"\\N{", b"\\u1234", b"1.5 "))


def transcript(data: bytes) -> None:
    """Entries, or a refusal with words."""
    path = Path(_FOLDER.name) / "wire.log"
    path.write_bytes(data)
    try:
        read_transcript(path)
    except LinkError as error:
        _in_words(error)


TARGETS = (
    Target(
        "board parser", _board_corpus, board_parser, 30,
        (device_protocol.framing, device_protocol.orders.base, device_protocol.board.handlers, device_protocol.lamp_table),
    ),
    Target(
        "host parser", _host_corpus, host_parser, 30,
        (device_protocol.session, device_protocol.orders.identity, device_protocol.orders.notices),
    ),
    Target(
        "CSV map", _csv_corpus, csv_map, 10,
        (probe.export.cells, probe.export.csv_map, probe.export.csv_records),
    ),
    Target("lamp list", _lamps_corpus, lamp_list, 10, (probe.export.lamp_list,)),
    Target("map file", _map_corpus, map_file, 10, (probe.document.file.reading,)),
    Target("settings file", _settings_corpus, settings_file, 5, ()),
    Target("transcript", _transcript_corpus, transcript, 5, ()),
)  # fmt: skip
