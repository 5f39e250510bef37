"""The walk on screen, driven by keys, against a simulated board."""

from __future__ import annotations

from dataclasses import replace

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.model import Chain, PixelState, PlayfieldMap
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_count
from probe.mapping.walk_keys import GoTo, Say
from probe.task import events as ev
from probe.task.command import MenuGroup
from probe.task.events import Choose, Take, Typed
from probe.task.views import TaskView
from probe.ui.keys import OF_PROGRAM
from probe.ui.task_screen import TaskScreen
from probe.ui.widgets.big_number import BigNumber
from probe.ui.widgets.picture import PlayfieldPicture
from tests.support.examples import first_now, in_groups
from tests.support.keys import to
from tests.support.person import Person, same_answers
from tests.ui.conftest import OpenApp, Stage, text_of

HOSTILE = (
    "[/x]",
    "[bold]not bold",
    "=1+1",
    "left [",
    "trailing \\",
    "emoji 🐙🏴‍☠️",
    "\u05e9\u05dc\u05d5\u05dd right to left",
    "\u202ereversed",
    "x" * 500,
    "control \x00 \x1b[31m \x07 bytes",
    "two\nlines",
    "[@click=app.quit]do not[/]",
    "$text $primary",
    ":smile:",
)


def blank(truth: PlayfieldMap) -> PlayfieldMap:
    """The same chains with nothing answered."""
    map_ = new_map(truth.machine.name)
    for chain in truth.chains:
        map_ = set_count(add_chain(map_, chain.model_copy(update={"pixels": ()})), chain.id, chain.length)
    return map_


def small() -> PlayfieldMap:
    map_ = add_chain(new_map("Kelp Forest"), Chain(id="a", name="Playfield", output=0, count=6))
    map_ = set_count(map_, "a", 6)
    for number in range(6):
        map_, place = add_place(map_, f"Reef lane {number + 1}")
        map_ = assign_place(map_, "a", number, place.id)
    return map_


def keys_for(given: object) -> list[str]:
    match given:
        case Take():
            return ["enter"]
        case Choose():
            return ["down"]
        case Typed(text):
            return [_key(character) for character in text]
        case Say(answer):
            row = {"NOTHING_LIT": "f2", "HIDDEN": "f3", "SAME_PLACE": "space"}
            return [row[answer.name]] if answer.name in row else [*to(f"walk.say.{answer.name}")]
        case _:
            raise AssertionError(given)


def _key(character: str) -> str:
    return "space" if character == " " else character


@pytest.mark.slow
@pytest.mark.long
async def test_map_the_whole_demo_by_keys(open_app: OpenApp) -> None:
    truth = load_map(demo_map_path())
    person = Person(truth)
    async with open_app(blank(truth), truth) as stage:
        total = sum(chain.length for chain in truth.chains)
        for _ in range(total + len(truth.chains)):
            await stage.lit()
            walk = stage.walk
            if walk.end is not None:
                assert stage.board.lit() == (), "nothing is past the end"
                await stage.pilot.press("n")
                continue
            place = truth.place_of(truth.chain(walk.chain).pixels[walk.number])
            if place is not None and truth.chain(walk.chain).pixels[walk.number].state is PixelState.PLACED:
                assert [s.place for s in stage.board.lit()] == [place.id], "only the pixel that is shown is lit"
            for given in person.inputs(walk):
                await stage.pilot.press(*keys_for(given))
        await stage.app.settled()
        assert stage.walk.answered == stage.walk.here.length
    assert same_answers(load_map(stage.path), truth) == []


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (40, 12), (20, 5)]))
async def test_every_size_draws(open_app: OpenApp, size: tuple[int, int]) -> None:
    async with open_app(small(), size=size) as stage:
        await stage.lit()
        await stage.pilot.resize_terminal(20, 5)
        await stage.pilot.pause()
        await stage.pilot.resize_terminal(80, 24)
        await stage.pilot.pause()
        shown = text_of(stage.app)
        assert "0 (1st) of 6" in shown
        assert "LIT" in shown


@pytest.mark.slow
@pytest.mark.parametrize("labels", first_now(in_groups(HOSTILE, of=5)), ids=str)
async def test_hostile_labels_on_every_screen(open_app: OpenApp, labels: tuple[str, ...]) -> None:
    first, *_, last = labels
    map_ = add_chain(new_map(first), Chain(id="a", name=last, output=0, count=2 * len(labels)))
    map_ = set_count(map_, "a", 2 * len(labels))
    for number, label in enumerate(labels):
        map_, place = add_place(map_, label, area=label)
        map_ = assign_place(map_, "a", number, place.id)
    map_ = map_.model_copy(update={"machine": map_.machine.model_copy(update={"note": last})})
    async with open_app(map_, map_) as stage:
        await stage.lit()
        for _ in labels:
            await stage.pilot.press("pagedown")
            await stage.lit()
            assert "\u202e" not in text_of(stage.app)
        for label in labels:
            await stage.type_and("enter", label)
        await stage.pilot.press(*to("app.table"))
        await stage.pilot.pause()
        assert "\u202e" not in text_of(stage.app)
        await stage.pilot.press(*to("table.findings"))
        await stage.pilot.pause()
        shown = text_of(stage.app)
        assert "\x1b" not in shown
        assert "\u202e" not in shown
        await stage.pilot.press("f1")
        await stage.pilot.pause()
        await stage.pilot.press("escape", "escape")
        await stage.pilot.pause()
        await stage.app.settled()
    saved = load_map(stage.path)
    for label, pixel in zip(labels, saved.chain("a").pixels, strict=False):
        place_of_it = saved.place_of(pixel)
        assert place_of_it is not None
        assert place_of_it.label == label, "what was typed is kept as it was typed"


@pytest.mark.slow
async def test_losing_the_board_is_a_state_on_the_screen(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press("pagedown", "pagedown")
        await stage.lit()
        stage.port.unplug()
        await _until(stage, lambda shown: "LIT" not in shown)
        await stage.pilot.press("enter")
        await stage.pilot.pause()
        stage.port.plug()
        await _until(stage, lambda shown: "● LIT" in shown, seconds=15)
        assert stage.walk.number == 2
        assert [s.place for s in stage.board.lit()] == ["reef-lane-3"]


async def _until(stage: Stage, what: object, seconds: float = 5) -> None:
    for _ in range(int(seconds / 0.05)):
        await stage.pilot.pause(0.05)
        if what(text_of(stage.app)):  # type: ignore[operator]
            return
    raise AssertionError(text_of(stage.app))


@pytest.mark.slow
async def test_keys_while_the_line_is_empty_and_while_it_is_not(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press("pagedown")
        await stage.lit()
        assert stage.walk.number == 1
        await stage.pilot.press(*to("walk.level.1"), "escape")
        await stage.lit()
        assert stage.walk.level == 64
        await stage.pilot.press("a", "plus", "b", "left", "left")
        await stage.pilot.pause()
        assert stage.walk.typed == "a+b"
        assert stage.walk.number == 1
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert stage.walk.typed == ""
        await stage.pilot.press(*to("walk.ask.GOTO"), "4", "enter")
        await stage.lit()
        assert stage.walk.number == 4


async def test_an_answer_does_not_throw_away_a_note_that_is_typed_and_the_footer_offers_none(open_app: OpenApp) -> None:
    async with open_app(small(), small()) as stage:
        await stage.lit()

        def footer() -> dict[str, str]:
            assert isinstance(stage.app.screen, TaskScreen)
            return {hint.key: hint.words for hint in stage.app.screen.key_hints()}

        await stage.pilot.press("r")
        assert footer()["Esc"] == "Back", "it empties the line"
        await stage.pilot.press("escape")
        assert footer()["Esc"] == "What next"
        assert {"F2", "F3"} <= footer().keys()
        before = stage.walk.map
        for entry in ("NOTE", "GOTO"):
            await stage.pilot.press(*to(f"walk.ask.{entry}"), "1", "f2", "f3", "space", "2")
            assert stage.walk.typed == "1 2"
            assert footer()["Esc"] == "Back", "it closes the line"
            assert not {"F2", "F3", "Space"} & footer().keys()
            await stage.pilot.press("escape")
        assert stage.walk.map == before
        assert footer()["Esc"] == "What next"


async def test_the_step_button_steps_on_screen(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        stage.port.press_button()
        await _until(stage, lambda shown: "1 (2nd) of 6   ● LIT" in shown)


@pytest.mark.slow
async def test_paper_entry_needs_no_board(open_app: OpenApp) -> None:
    async with open_app(small(), paper=True) as stage:
        await stage.pilot.pause()
        await stage.pilot.press(*"Otter", "enter")
        await stage.pilot.pause()
        await stage.app.settled()
        assert "on paper" in text_of(stage.app)
    saved = load_map(stage.path)
    first = saved.place_of(saved.chain("a").pixels[0])
    assert first is not None
    assert first.label == "Otter"


@pytest.mark.slow
async def test_table_sorts_searches_and_lights(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press(*to("app.table"))
        await stage.pilot.pause()
        await stage.pilot.press(*to("table.search"), *"lane5")
        await stage.pilot.pause()
        assert "0 of 6" in text_of(stage.app)
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        await stage.pilot.press(*to("table.search"), *"lane", "space", "5", "enter")
        await stage.pilot.pause()
        assert "1 of 6" in text_of(stage.app)
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.1)
        await stage.app.settled()
        assert [s.place for s in stage.board.lit()] == ["reef-lane-5"]


@pytest.mark.slow
async def test_pointing_at_the_place_in_the_picture(open_app: OpenApp) -> None:
    async with open_app(small(), size=(120, 40)) as stage:
        await stage.lit()
        await stage.pilot.press(*to("walk.point"), "right", "right", "up")
        await stage.pilot.pause()
        assert stage.walk.number == 0, "arrows move the mark, not the walk"
        await stage.pilot.press("enter")
        await stage.pilot.pause()
        await stage.app.settled()
        place = stage.walk.place
        assert place is not None
        assert place.position is not None
        assert place.position.x_mm > stage.walk.map.machine.width_mm / 2


@pytest.mark.slow
async def test_esc_leads_to_everything_else(open_app: OpenApp) -> None:
    from probe.ui.menu import MenuScreen
    from probe.ui.rows_screen import RowsScreen
    from probe.ui.task_screen import TaskScreen

    async with open_app(small()) as stage:
        await stage.lit()
        await stage.pilot.press("escape")
        await stage.pilot.pause()
        assert isinstance(stage.app.screen, MenuScreen)
        await stage.pilot.press("escape")
        await stage.pilot.pause()

        def on_walk() -> bool:
            screen = stage.app.screen
            return isinstance(screen, TaskScreen) and screen.open_task.name == "walk"

        assert on_walk()
        rooms = [row for row in OF_PROGRAM if isinstance(row.event, ev.GoOpen)]
        assert len(rooms) > 12
        for row in rooms:
            if row.id == "app.walk":
                continue  # there already
            await stage.pilot.press("escape", str([*MenuGroup].index(row.group) + 1), row.letter)
            await stage.pilot.pause()
            opened: type[object] = type(stage.app.screen)
            if row.id == "app.evenness":  # there is nothing to even out in this map
                assert "evenness needs two places of general" in text_of(stage.app)
                continue
            if row.id == "app.plan":
                assert "no place has a position yet" in " ".join(text_of(stage.app).split())
                continue
            assert not on_walk(), row.id
            assert row.id != "app.table" or opened is RowsScreen
            for _ in range(6):
                if on_walk():
                    break
                await stage.pilot.press("escape")
                await stage.pilot.pause()
            assert on_walk(), f"Esc leads back from {opened.__name__}"
            await stage.lit()


@pytest.mark.slow
@pytest.mark.parametrize(
    ("size", "roomy"), first_now([((80, 24), False), ((120, 40), True), ((200, 60), True)], now=2, several=True)
)
async def test_what_is_around_and_left_is_shown_where_there_is_room(
    open_app: OpenApp, size: tuple[int, int], *, roomy: bool
) -> None:
    half = load_map(demo_map_path("kelp_forest_half.json"))
    async with open_app(half, half, size=size) as stage:
        await stage.lit()
        text = text_of(stage.app)
        assert ("Along the chain" in text) is roomy
        assert ("pixels unseen" in text) is roomy
        assert sum("█" in line for line in text.splitlines()[:16]) >= (14 if size[0] >= 180 else 7)


@pytest.mark.slow
async def test_a_chain_that_is_seen_to_its_end_is_not_listed_as_none_left(open_app: OpenApp) -> None:
    whole = load_map(demo_map_path())
    async with open_app(whole, whole, size=(120, 40)) as stage:
        await stage.lit()
        text = text_of(stage.app)
        assert "Playfield: every pixel seen" in text
        assert "0 pixels" not in text


@pytest.mark.slow
async def test_a_large_screen_shows_more_of_the_chain_what_is_left_the_keys_and_what_the_signs_mean(
    open_app: OpenApp,
) -> None:
    demo, half = load_map(demo_map_path()), load_map(demo_map_path("kelp_forest_half.json"))
    shown = {}
    for size in ((80, 24), (120, 40), (200, 60)):
        async with open_app(half, demo, size=size) as stage:
            await stage.lit()
            shown[size] = text_of(stage.app)
    assert "Along the chain" not in shown[80, 24]
    assert "backbox" in shown[80, 24], "an empty frame is named"
    assert all("o insert" in shown[size] and "◌ guessed" in shown[size] for size in ((120, 40), (200, 60)))
    assert "Keys here" not in shown[120, 40]
    assert "PageDown  Next pixel" in shown[200, 60]
    rows = {size: sum(" unseen " in line for line in shown[size].splitlines()) for size in shown}
    assert rows[200, 60] > rows[120, 40] + 5


async def test_a_guessed_place_is_shown_before_it_is_taken_and_moved_by_arrows(open_app: OpenApp) -> None:
    """The marked offer is drawn where it may be; an arrow key and Enter confirm it elsewhere, then Enter takes the name."""
    demo = load_map(demo_map_path())
    async with open_app(blank(demo), demo) as stage:
        await stage.lit()
        await stage.pilot.press(*"eel 1", "enter")
        await stage.lit()
        first = stage.walk.map.places[0]
        assert first.position is not None
        assert first.position.guessed
        offered = stage.walk.offered_at
        assert stage.walk.offer is not None
        assert stage.walk.offer.label == "eel 2"
        assert offered is not None
        assert offered.guessed
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        view = screen.current_view()
        assert isinstance(view, TaskView)
        assert view.picture is not None
        assert [(spot.look, spot.position, spot.label) for spot in view.picture.spots] == [
            ("offered", offered, "eel 2")
        ]
        cell = screen.query_one(PlayfieldPicture).cell_of(offered)
        await stage.pilot.press("left", "left", "up")
        assert "mm: arrows move" in text_of(stage.app)
        await stage.pilot.press("enter")
        put = stage.walk.put_at
        assert put is not None
        assert not put.guessed
        assert stage.walk.offered_at == put, "drawn where it was put"
        assert screen.query_one(PlayfieldPicture).cell_of(put) == (cell[0] - 2, cell[1] - 1)
        await stage.pilot.press("enter")
        await stage.lit()
        assert [(place.label, place.position) for place in stage.walk.map.places[1:]] == [("eel 2", put)]
        await stage.pilot.press("right", "escape")
        assert stage.walk.put_at is None, "Esc leaves the mark and sets nothing"
        assert stage.app.screen is screen, "and not the walk"
        assert stage.walk.end is None
        assert "mm: arrows move" not in text_of(stage.app)


async def test_a_key_of_another_state_types_and_its_row_says_why_it_does_nothing(open_app: OpenApp) -> None:
    async with open_app(small(), small()) as stage:
        await stage.lit()
        await stage.pilot.press("n", "y", "1")  # at the end of the walk they answer its question
        assert stage.walk.typed == "ny1"
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        assert screen.why_not(screen.commands["walk.yes"])
        assert not screen.why_not(screen.commands["walk.forward"])


async def test_what_a_pixel_is_keeps_its_name_whole_and_says_the_note_in_a_row_of_its_own(open_app: OpenApp) -> None:
    whole = load_map(demo_map_path())
    async with open_app(whole, whole, begin_at=("playfield", 1)) as stage:
        await stage.lit()
        rows = [row[:47].rstrip() for row in text_of(stage.app).splitlines()]
        assert any(
            row.strip().startswith("Shooter lane glow 1  Shooter lane · general") and "…" not in row for row in rows
        )
        await stage.pilot.press("f5", "n", *"loose wire", "enter")
        stage.app.runtime.dispatch(GoTo(1, "playfield"))
        await stage.pilot.pause(0.1)
        assert any(row.strip() == "note: loose wire" for row in text_of(stage.app).replace("│", "\n").splitlines())


async def test_how_far_it_is_has_the_whole_line(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path("kelp_forest_half.json"))
    async with open_app(map_, map_) as stage:
        await stage.lit()
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        view = screen.current_view()
        assert isinstance(view, TaskView)
        words = f" {'█' * 20} 48 of 84 · 12.4 s each · 12:34 left"
        screen.draw(replace(view, progress=words))
        await stage.pilot.pause(0.1)
        assert words in text_of(stage.app)


@pytest.mark.parametrize("typed", ["", "ree"])
async def test_the_name_of_what_is_offered_is_whole_beside_a_ring_of_what_is_lit(typed: str, open_app: OpenApp) -> None:
    whole = load_map(demo_map_path())
    async with open_app(load_map(demo_map_path("kelp_forest_half.json")), whole, begin_at=("playfield", 44)) as stage:
        await stage.lit()
        await stage.pilot.press(*typed)
        await stage.pilot.pause(0.2)
        picture = stage.app.screen.query_one("#picture", PlayfieldPicture)
        drawn = [picture.render_line(y).text for y in range(picture.size.height)]
        offered = stage.walk.offers[0].label
        assert any(f" {offered}? " in line for line in drawn), drawn
        assert sum("◉" in line for line in drawn) == 1, "and what is lit is seen too"


async def test_the_number_is_hollow_until_the_board_has_confirmed_it(open_app: OpenApp) -> None:
    map_ = load_map(demo_map_path("kelp_forest_half.json"))
    async with open_app(map_, map_) as stage:
        await stage.lit()
        number = stage.app.screen.query_one(BigNumber)
        assert "█" in str(number.visual)
        assert number.has_class("lit")
        screen = stage.app.screen
        assert isinstance(screen, TaskScreen)
        view = screen.current_view()
        assert isinstance(view, TaskView)
        screen.draw(replace(view, lit=False))
        assert set(str(number.visual)) == {"░", " ", "\n"}
        assert not number.has_class("lit")
