"""A batch on the bench: width and order found from what lights, its current judged, what was found kept with the batch."""

from __future__ import annotations

import pytest

from device_protocol.board import BoardConfig, ChainWiring, SimulatedBoard
from device_protocol.values import DARK, Colour
from probe.document.model.harness import Judged
from probe.document.operations import new_map
from probe.harness.bench import BURN_STEP_S, Bench, BenchStage, BenchTask, NextOutput, judge_current
from probe.harness.power_up import bench_words
from probe.task import events as ev
from probe.task.light import Dark, Pixels
from probe.task.task import Opened
from probe.ui.app import maker_of
from tests.game.desk import Desk
from tests.runtime.contract_tasks import two_chains
from tests.support.examples import first_now

TIME = "2026-03-01T19:30:00Z"
NAMES = {"red": Colour(1, 0, 0), "green": Colour(0, 1, 0), "blue": Colour(0, 0, 1), "white": Colour(0, 0, 0, 1)}


def on_the_bench(wiring: ChainWiring, *, facts: object = None, **board: int) -> Desk[Bench]:
    config = BoardConfig(**({"outputs": 2, "pixels": 100} | board))  # type: ignore[arg-type]
    device = SimulatedBoard(config, [wiring, ChainWiring()])
    task, state = maker_of("bench")(Opened(two_chains(), facts))
    desk = Desk((task, state), device)
    desk.plug_in()
    return desk


def seen(desk: Desk[Bench]) -> dict[int, str]:
    """What a person sees: the pixels that light, and the colour of each (`mixed` if it is none alone)."""
    found = {}
    for number, c in enumerate(desk.device.shown(0)):
        if c != DARK:
            own = Colour(*(int(v > 0) for v in (c.red, c.green, c.blue, c.white)))
            found[number] = next((name for name, colour in NAMES.items() if colour == own), "mixed")
    return found


def stage(desk: Desk[Bench]) -> BenchStage:
    return desk.state.stage


def answer(desk: Desk[Bench]) -> None:
    """Take the answer that is true."""
    s, lit = desk.state, seen(desk)
    match s.stage:
        case BenchStage.WIDTH:
            row = 1 if set(lit) == {0} else 0 if set(lit) == {1} else 2
        case BenchStage.BYTE:
            wanted = f"the first pixel, {lit[0]}" if set(lit) == {0} else s.items[-1]
            row = s.items.index(wanted)
        case BenchStage.ALL:
            row = 0 if len(lit) == s.count and len(set(lit.values())) == 1 else 1
        case _:
            raise AssertionError(s.stage)
    desk.give(ev.TakeRow(row))


def typed(desk: Desk[Bench], *texts: str) -> None:
    for text in texts:
        desk.give(ev.Typed(text), ev.Take(TIME))


@pytest.mark.parametrize("order", first_now(["RGB", "GRB", "BRG", "GBR", "GRBW", "RGBW", "WRGB", "BWGR"]))
def test_width_and_order_are_found_from_what_lights(order: str) -> None:
    """Bytes of a frame as SPEC 4.7 and 15.1 have it; the map says GRB throughout."""
    desk = on_the_bench(ChainWiring.of_places("abcdef", byte_order=order))
    typed(desk, "second reel", "6", "open")
    while stage(desk) in (BenchStage.WIDTH, BenchStage.BYTE):
        answer(desk)
    assert desk.state.order == order
    assert desk.task.view(desk.state).head == "Kelp Forest · bench test of a batch: second reel"
    assert stage(desk) is BenchStage.ALL
    assert set(seen(desk)) == set(range(6))
    answer(desk)
    assert isinstance(desk.wanted, Dark)
    assert seen(desk) == {}
    typed(desk, "6")
    assert set(seen(desk).items()) == {(number, "red") for number in range(6)}
    typed(desk, "126")
    assert stage(desk) is BenchStage.BURN_IN
    colours = set()
    for _ in range(4):
        colours.add(desk.device.shown(0)[0])
        desk.pass_s(BURN_STEP_S)
    assert len(colours) == 4
    desk.give(ev.Take(TIME))
    desk.give(ev.Take(TIME))
    (batch,) = desk.map.batches
    assert (batch.name, batch.bench_pixels, batch.bench_order) == ("second reel", 6, order)
    assert (batch.bench_dark_ma, batch.bench_red_ma) == (6.0, 126.0)
    assert (batch.bench_judged, batch.bench_on, batch.bench_minutes) == (Judged.GOOD, "2026-03-01", 4)
    assert seen(desk) == {}, "dark when it is done"
    words = bench_words(batch)
    for part in (f"order {order}", "1 mA dark", "20 mA for red", "burn-in 4 min", "good", "1 Mar 2026"):
        assert part in words


def test_a_short_keeps_it_dark() -> None:
    desk = on_the_bench(ChainWiring.of_places("abc"))
    typed(desk, "reel", "3", "1.2")
    assert stage(desk) is BenchStage.OHMS
    assert "stop" in desk.state.message
    typed(desk, "12")
    assert "look" in desk.state.message
    assert all(isinstance(light, Dark) for light in desk.lights)
    typed(desk, "450")
    assert stage(desk) is BenchStage.WIDTH


def test_nothing_counts_before_the_board_has_lit_it() -> None:
    task, state = maker_of("bench")(Opened(two_chains()))
    s: Bench = state  # type: ignore[assignment]
    for event in (ev.Typed("reel"), ev.Take(), ev.Typed("6"), ev.Take(), ev.Typed("open"), ev.Take()):
        following = task.step(s, event, 0.0)
        assert following is not None
        s = following[0]
        for effect in following[1]:
            s = task.seen(s, getattr(effect, "map", s.map), s.board, "")
    assert s.stage is BenchStage.WIDTH
    following = task.step(s, ev.Take(), 0.0)
    assert following is not None
    assert following[0].stage is BenchStage.WIDTH
    assert "nothing is lit" in following[0].message


def test_what_differs_is_kept_and_what_is_hot_stops() -> None:
    desk = on_the_bench(ChainWiring.of_places("abcdef").without_light(3))
    typed(desk, "reel", "6", "open")
    while stage(desk) in (BenchStage.WIDTH, BenchStage.BYTE, BenchStage.ALL):
        answer(desk)
    typed(desk, "6", "106")
    batch = desk.map.batches[0]
    assert batch.bench_judged is Judged.LOOK, "kept before the burn-in"
    assert "dark" in batch.bench_flaw
    desk.give(ev.Take(TIME), ev.TakeRow(1))
    batch = desk.map.batches[0]
    assert batch.bench_judged is Judged.STOP
    assert "hot" in batch.bench_flaw
    assert "do not fit" in desk.state.message


@pytest.mark.parametrize(
    ("dark", "red", "judged"),
    [
        (10, 210, Judged.GOOD),  # WS2812B as catalogued: 1 mA dark, 20 mA a colour (probe/harness/pixels.py)
        (10, 130, Judged.GOOD),
        (10, 70, Judged.LOOK),  # 6 mA a pixel for red: below a third of 20
        (10, 76.7, Judged.GOOD),
        (40, 240, Judged.LOOK),  # 4 mA dark each
        (10, 10, Judged.LOOK),
        (10, 1_001, Judged.STOP),  # above the fuse
        (10, 1_000, Judged.LOOK),
    ],
)
def test_what_the_current_means(dark: float, red: float, judged: Judged) -> None:
    assert judge_current("WS2812B", pixels=10, dark_ma=dark, red_ma=red).judged is judged


def test_more_than_the_fuse_goes_back_to_ohms_and_is_dark() -> None:
    desk = on_the_bench(ChainWiring.of_places("abcdef"))
    typed(desk, "reel", "6", "open")
    while stage(desk) in (BenchStage.WIDTH, BenchStage.BYTE, BenchStage.ALL):
        answer(desk)
    typed(desk, "6", "1200")
    assert stage(desk) is BenchStage.OHMS
    assert seen(desk) == {}
    assert desk.map.batches[0].bench_judged is Judged.STOP


@pytest.mark.parametrize("text", ["0", "41", "-3", "ten", "", "3.5", "²"])
def test_a_count_that_is_none_is_refused(text: str) -> None:
    desk = on_the_bench(ChainWiring.of_places("abc"))
    typed(desk, "reel", text)
    assert stage(desk) is BenchStage.COUNT
    assert "1 to 40" in desk.state.message


def test_a_ceiling_that_would_dim_the_red_asks_for_fewer() -> None:
    desk = on_the_bench(ChainWiring.of_places("abcdef"), ceiling_ma=300)
    typed(desk, "reel", "15")  # 15 x (1 + 20) mA by the board's figures
    assert stage(desk) is BenchStage.COUNT
    assert "fewer" in desk.state.message
    typed(desk, "14")
    assert stage(desk) is BenchStage.OHMS


def test_every_question_can_be_gone_back_from_and_asked_again() -> None:
    desk = on_the_bench(ChainWiring.of_places("abcdef"))
    typed(desk, "reel", "6", "open")
    for _ in range(3):
        answer(desk)
    assert (stage(desk), desk.state.order) == (BenchStage.ALL, "GRB")
    desk.give(ev.Leave())
    assert (stage(desk), desk.state.order) == (BenchStage.BYTE, "G")
    desk.give(ev.Leave())
    assert (stage(desk), desk.state.order) == (BenchStage.BYTE, "")
    for expected in (BenchStage.WIDTH, BenchStage.OHMS, BenchStage.COUNT, BenchStage.NAME):
        desk.give(ev.Leave())
        assert stage(desk) is expected
    desk.give(ev.Leave())
    assert desk.closed


def test_a_batch_of_the_map_is_offered_and_named_by_the_facts() -> None:
    task, state = maker_of("bench")(Opened(new_map("Kelp Forest")))
    assert isinstance(task, BenchTask)
    assert isinstance(state, Bench)
    desk = Desk((task, state), SimulatedBoard(BoardConfig(outputs=2), [ChainWiring(), ChainWiring()]))
    typed(desk, "  ")
    assert "needs a name" in desk.state.message
    typed(desk, "first reel")
    desk.give(ev.Leave())
    typed(desk, "First  Reel")
    assert len(desk.map.batches) == 1
    _, again = maker_of("bench")(Opened(desk.map, desk.map.batches[0].id))
    assert again.typed == "first reel"  # type: ignore[attr-defined]
    desk.plug_in()
    desk.give(NextOutput())
    assert desk.state.output == 1
    typed(desk, "5", "open")
    assert isinstance(desk.wanted, Pixels)
    assert desk.wanted.output == 1
