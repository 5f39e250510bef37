"""Kills a program that labels and saves in a loop, again and again: `python -m tests.document.file.kill_walk KILLS FILE SEED`.

Each round forks a child that opens the map, and labels pixel after pixel: place, pixel and bookmark into the map, map
onto disk, then the number down a pipe as the acknowledgement. The parent kills it at a random moment, loads the file and
looks whether every acknowledged label is there. Prints one line of JSON with the sums.
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

from probe.document import operations as op
from probe.document.file import MapFile, load_map
from probe.document.model import PlayfieldMap
from tests.support.blank import blank_map_file

PIXELS = 60
LONGEST_S = 0.03


def label_for(answer: int) -> str:
    return f"Answer {answer}"


def answer_in(map_: PlayfieldMap, number: int) -> int:
    """The answer a pixel holds, -1 if none."""
    place = map_.place_of(map_.chains[0].pixels[number])
    return -1 if place is None else int(place.label.removeprefix("Answer "))


def newest(map_: PlayfieldMap) -> int:
    """The highest answer in a map, -1 if none."""
    return max(answer_in(map_, number) for number in range(PIXELS))


def walk(path: Path, acknowledge: int) -> None:
    """Label for ever, going round the chain."""
    file = MapFile.open(path)
    answer = newest(file.map) + 1
    while True:
        number = answer % PIXELS
        map_, place = op.add_place(file.map, label_for(answer), area="Trench")
        old = map_.chains[0].pixels[number].place
        map_ = op.assign_place(map_, "playfield", number, place.id)
        if old is not None:
            map_ = op.drop_unused_place(map_, old)
        map_ = op.set_bookmark(map_, "playfield", (number + 1) % PIXELS)
        file.save(map_)
        os.write(acknowledge, struct.pack("<q", answer))
        answer += 1


def leftovers_beside(path: Path) -> list[str]:
    """Temporary files beside a map."""
    return sorted(other.name for other in path.parent.iterdir() if other.suffix in (".new", ".old"))


def one_round(path: Path, moment: random.Random) -> int:
    """Returns the last acknowledged answer, -1 if there was none in this round."""
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(reading)
            walk(path, writing)
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(3)
    os.close(writing)
    # One in four is killed while it starts and opens the file, the others some time after their first answer.
    said = b"" if moment.random() < 0.25 else os.read(reading, 8)
    time.sleep(moment.uniform(0, LONGEST_S))
    os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    while part := os.read(reading, 65_536):
        said += part
    os.close(reading)
    if not os.WIFSIGNALED(status):
        raise SystemExit("the child stopped by itself")
    answers = [answer for (answer,) in struct.iter_unpack("<q", said[: len(said) // 8 * 8])]
    return answers[-1] if answers else -1


def main(kills: int, path: Path, seed: int) -> None:
    moment = random.Random(seed)
    blank_map_file(path, pixels=PIXELS)
    last, leftovers, in_flight = -1, 0, 0
    for turn in range(kills):
        acknowledged = one_round(path, moment)
        leftovers += bool(leftovers_beside(path))
        last = max(last, acknowledged)
        map_ = load_map(path)
        held = newest(map_)
        # One more than acknowledged is fine: on disk, killed before it could say so.
        if held not in (last, last + 1):
            raise SystemExit(f"kill {turn}: answer {last} was acknowledged, and the file holds {held}")
        for answer in range(max(0, held - PIXELS + 1), held + 1):
            if answer_in(map_, answer % PIXELS) != answer:
                raise SystemExit(f"kill {turn}: answer {answer} is lost")
        in_flight += held > last
        last = held
    MapFile.open(path).close()
    left = leftovers_beside(path)
    print(
        json.dumps({"kills": kills, "answers": last + 1, "in_flight": in_flight, "leftovers": leftovers, "left": left})
    )


if __name__ == "__main__":
    main(int(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3]))
