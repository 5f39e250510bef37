"""A recorded session played back: the same map, the same events; and what is told when it goes another way."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.orders import Darken, LightPixel
from device_protocol.values import Colour
from probe.cli.wire_log import WireLog
from probe.document.file import load_map
from probe.document.model import Chain, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.link import BoardLink, LinkError, LinkEvent, LinkLost, PortSpec
from probe.link.faulty import FaultProfile
from probe.link.replay import ReplayPort, entry_text, read_transcript
from probe.link.simulated_wire import SimulatedPort
from tests.link.recorder import Recorder, port
from tests.support.person import same_answers
from tests.support.walker import walk_it


def machine(pixels: int = 30) -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0, count=pixels))
    map_ = set_count(map_, "a", pixels)
    for number in range(pixels):
        map_, place = add_place(map_, f"Reef lane {number + 1}")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


PROFILES = {
    "sound": FaultProfile(),
    "lost bytes": FaultProfile(lost_byte_rate=0.003),
    "flipped bits": FaultProfile(flipped_bit_rate=5e-4),
    "unplugged": FaultProfile(unplug_every_lines=25, replug_after_s=0.2),
}


def told(recorder: Recorder) -> list[str]:
    """Events without what the clock decides: how often a wait is told, and in how many pieces damage is noted."""
    return [kind for kind in recorder.kinds if kind not in ("Waiting", "PortOpening", "WireNote")]


@pytest.mark.slow
@pytest.mark.parametrize("name", PROFILES)
async def test_a_walk_played_back_gives_the_same_map_and_events(name: str, tmp_path: Path) -> None:
    truth, log = machine(), tmp_path / "wire.log"
    board = SimulatedBoard(BoardConfig(pixels=100), [ChainWiring.of_places(f"a:{n}" for n in range(30))])
    simulated = SimulatedPort(board, faults=PROFILES[name], seed=3)
    first, second = Recorder(), Recorder()

    def both(recorder: Recorder, listener: Callable[[LinkEvent], None]) -> Callable[[LinkEvent], None]:
        def listen(event: LinkEvent) -> None:
            recorder(event)
            listener(event)

        return listen

    recorded = await walk_it(
        truth,
        tmp_path / "first.json",
        lambda listener: BoardLink(simulated.open, on_event=both(first, listener), transcript=WireLog(str(log))),
        set,
    )
    replay = ReplayPort(log, speed=0)
    played = await walk_it(
        truth,
        tmp_path / "second.json",
        lambda listener: BoardLink(replay.open, on_event=both(second, listener)),
        set,
    )
    assert played.claims == recorded.claims
    assert told(second) == told(first)
    assert replay.played
    assert same_answers(load_map(tmp_path / "second.json"), load_map(tmp_path / "first.json")) == []
    assert same_answers(load_map(tmp_path / "second.json"), truth) == []


async def record(log: Path) -> None:
    link = BoardLink(port().open, on_event=Recorder(), transcript=WireLog(str(log)))
    await link.connect()
    await link.do(Darken())
    await link.do(LightPixel(0, 3, _red()))
    await link.close()


def _red() -> Colour:
    return Colour(32, 0, 0)


async def test_by_its_url_at_the_speed_of_then(tmp_path: Path) -> None:
    log = tmp_path / "wire.log"
    await record(log)
    link = BoardLink(PortSpec(f"replay://{log}"), on_event=Recorder())
    identity = await link.connect()
    assert identity.pixels == 40
    await link.do(Darken())
    await link.do(LightPixel(0, 3, _red()))
    await link.close()


async def test_another_order_than_then_is_told_with_its_line(tmp_path: Path) -> None:
    log = tmp_path / "wire.log"
    await record(log)
    events = Recorder()
    link = BoardLink(PortSpec(f"replay://{log}?speed=0"), on_event=events)
    await link.connect()
    with pytest.raises(
        LinkLost, match=r"line \d+ of the transcript goes on with 'dark all', the program sent 'light 0 9"
    ):
        await link.do(LightPixel(0, 9, _red()))
    await link.close()


@pytest.mark.parametrize("text", ['1.0 in "x', "nonsense", '1.0 up "x"', '1.0 in "\\x4"', "\xe9"])
async def test_what_is_no_transcript_is_told(text: str, tmp_path: Path) -> None:
    log = tmp_path / "wire.log"
    log.write_text(f'1.0 open "x"\n{text}\n', encoding="latin-1")
    with pytest.raises(LinkError, match=r"line 2|bytes that no transcript has"):
        await PortSpec(f"replay://{log}").open()


async def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(LinkError, match="No such file"):
        await PortSpec(f"replay://{tmp_path / 'nothing'}").open()
    with pytest.raises(LinkError, match="speed"):
        await PortSpec(f"replay://{tmp_path / 'nothing'}?speed=fast").open()


@given(st.lists(st.tuples(st.sampled_from(["in", "out", "open", "end"]), st.binary(max_size=40))))
def test_entries_are_read_as_they_were_written(pieces: list[tuple[str, bytes]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "wire.log"
        path.write_text("".join(entry_text(1.5, *piece) + "\n" for piece in pieces), encoding="ascii")
        assert [(e.direction, e.data) for e in read_transcript(path)] == pieces
