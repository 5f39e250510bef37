"""What the playfield's picture costs at each light, beside the widget that it replaced: another place is lit, and the rows that
changed are drawn. `python -m tests.bench picture`.

The older widget is taken from the project's history (it drew places as signs in a plain frame, without a playfield); both run by
turns, each in a process of its own, in processor time.
"""

from __future__ import annotations

import io
import os
import statistics
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Sequence
from pathlib import Path

BEFORE = "47eba35"
"""The last commit with the older widget."""
ROOT = Path(__file__).resolve().parent.parent
SIZES = ((36, 22), (46, 36), (70, 52))
LIMITS = {(46, 36): 2.0, (70, 52): 3.0}
TURNS = 5

_ONE = """
import asyncio, gc, sys, time
from pathlib import Path
from textual.app import App
from textual.geometry import Region
if sys.argv[4] == "before":
    from probe.screens.widgets.picture import PlayfieldPicture, Spot
    from probe.storage.map_file import load_map
else:
    from probe.document.file import load_map
    from probe.task.views import Spot
    from probe.ui.widgets.picture import PlayfieldPicture

columns, rows, rounds = map(int, sys.argv[1:4])
map_ = load_map(Path("demo_maps/kelp_forest.json"))

class One(App):
    CSS = "PlayfieldPicture { width: %d; height: %d; }" % (columns, rows)
    def compose(self):
        yield PlayfieldPicture()

async def run():
    app = One()
    async with app.run_test(size=(columns + 2, rows + 2)) as pilot:
        picture = app.query_one(PlayfieldPicture)
        places = [p for p in map_.places if p.position is not None]
        picture.show(map_)
        await pilot.pause()
        dirty = []
        picture.refresh = lambda *regions, **_: dirty.extend(regions or [None])
        top = picture.gutter.top
        times = []
        for n in range(rounds):
            place = places[n % len(places)]
            label = [] if sys.argv[4] == "before" else [place.label]
            spot = Spot(place.position, "\\u25c9", "lit", *label)
            dirty.clear()
            gc.collect()
            begun = time.process_time()
            picture.show(map_, (spot,))
            ys = range(rows) if None in dirty else sorted({r.y + top for r in dirty})
            picture._styles_cache.set_dirty(*(Region(0, y, columns, 1) for y in ys))
            picture.render_lines(Region(0, 0, columns, rows))
            times.append(1000 * (time.process_time() - begun))
        print(sorted(times)[len(times) // 2])

asyncio.run(run())
"""


def _tree_before(folder: Path) -> None:
    packed = subprocess.run(
        ["git", "archive", BEFORE, "probe", "device_protocol", "demo_maps"], cwd=ROOT, check=True, capture_output=True
    ).stdout
    with tarfile.open(fileobj=io.BytesIO(packed)) as tar:
        tar.extractall(folder, filter="data")


def _median_ms(tree: Path, columns: int, rows: int, rounds: int) -> float:
    done = subprocess.run(
        [sys.executable, "-c", _ONE, str(columns), str(rows), str(rounds), "now" if tree == ROOT else "before"],
        cwd=tree,
        env={**os.environ, "PYTHONPATH": str(tree)},
        check=True,
        capture_output=True,
        text=True,
    )
    return float(done.stdout)


def run(argv: Sequence[str]) -> None:
    """Print both and their ratio, for each size."""
    rounds = 108 if "--quick" in argv else 432
    with tempfile.TemporaryDirectory() as folder:
        _tree_before(Path(folder))
        for size in SIZES:
            pairs = [(_median_ms(ROOT, *size, rounds), _median_ms(Path(folder), *size, rounds)) for _ in range(TURNS)]
            now, before = (statistics.median(times) for times in zip(*pairs, strict=True))
            ratio = statistics.median(new / old for new, old in pairs)
            limit = f", limit {LIMITS[size]:.1f}" if size in LIMITS else ""
            print(
                f"{size[0]} × {size[1]} cells: another place lit {now:5.2f} ms, before {before:5.2f}: {ratio:.2f} ×{limit}"
            )
