"""Kills a program in the middle of a recheck, again and again: `python -m tests.recheck.kill_recheck FILE SEED`.

Each round forks a child that opens the map, goes on with the recheck, and answers; each answer that is followed by light
is acknowledged down a pipe. The parent kills it at a random moment and looks whether the file holds every answer that
was acknowledged. At last the recheck is finished and the map compared with the wiring. Prints one line of JSON.
"""

from __future__ import annotations

import json
import os
import random
import signal
import struct
import sys
import time
import traceback
from pathlib import Path

from probe.document.document import Document
from probe.document.file import MapFile, load_map
from probe.recheck.entries import open_recheck
from probe.recheck.state import RecheckStage
from tests.recheck.test_recheck import BOARD, CHAIN, REWIRED, Bench, demo
from tests.support.rechecker import agrees, wiring_of_chain

KILLS = 6
WIRING = REWIRED["one at each of three"](wiring_of_chain(demo(), demo().chain(CHAIN)))


def answer(path: Path, acknowledge: int) -> None:
    """Answer until the map is kept."""
    document = Document.open(path)
    bench = Bench(document.map, WIRING, BOARD, document=document)
    while bench.state.stage is not RecheckStage.SAVED:
        bench(*bench.answers())
        document.save_now()
        state = bench.state
        os.write(acknowledge, struct.pack("<q", state.answers + state.namings))
        time.sleep(0.02)
    document.release()


def one_round(path: Path, moment: random.Random, *, kill: bool) -> int:
    """The last acknowledged count of answers. With `kill` the child is killed a moment after one of the first."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            answer(path, writing)
        except BaseException:
            traceback.print_exc()
            os._exit(3)
        os._exit(0)
    os.close(writing)
    said = b""
    if kill:
        for _ in range(moment.randrange(2, 6)):  # the first is that it goes on, and a look is a few keys
            said += os.read(reading, 8)
        time.sleep(moment.uniform(0, 0.06))
        os.kill(child, signal.SIGKILL)
    while part := os.read(reading, 65_536):
        said += part
    os.close(reading)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status) != kill or (not kill and os.WEXITSTATUS(status) != 0):
        raise SystemExit("the child failed, or was done before it was killed")
    counts = [count for (count,) in struct.iter_unpack("<q", said[: len(said) // 8 * 8])]
    return counts[-1] if counts else 0


def main(path: Path, seed: int) -> None:
    moment = random.Random(seed)
    MapFile.create(path, demo()).close()
    answered = 0
    for turn in range(KILLS):
        count = one_round(path, moment, kill=True)
        kept = open_recheck(load_map(path), CHAIN)
        held = len(kept.answers) if kept is not None else 0
        if held < count or held < answered:
            raise SystemExit(f"kill {turn}: {max(count, answered)} answers were acknowledged, the file holds {held}")
        answered = held
    one_round(path, moment, kill=False)
    map_ = load_map(path)
    wrong = agrees(map_, CHAIN, WIRING)
    print(json.dumps({"kills": KILLS, "answered": answered, "wrong": wrong, "open": len(map_.rechecks)}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
