"""Settings and guide inside the program: what can be set, that a change holds at once and is kept; the pages are all there."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from probe.document.file import demo_map_path, load_map
from probe.document.settings import Settings
from probe.program.guide import ORDER, GuideState, page_of, pages
from probe.program.guide import make as make_guide
from probe.program.settings import SETTINGS, SettingsState, StepSetting, UsualSetting, make
from probe.recheck.colours import DARK_SIGN, LOOK_COLOURS, OTHER_SIGN
from probe.task import effects as fx
from probe.task import events as ev
from probe.task.task import Opened
from probe.ui.app import ProbeApp
from probe.ui.ascii_only import WholeCells, to_ascii, to_blocks
from probe.ui.launch import LaunchOptions, Session
from probe.ui.signs import SignsScreen, sample
from probe.ui.start import HomeScreen
from tests.support.examples import first_now
from tests.ui.conftest import NoOpener, OpenApp, text_of
from tests.ui.test_walk_screen import small

GUIDE = Path(__file__).resolve().parents[2] / "probe" / "guide"


class Keeps(NoOpener):
    """Notes what is to be remembered."""

    def __init__(self) -> None:
        self.kept: list[tuple[str, object]] = []

    def remember_setting(self, name: str, value: object) -> None:
        self.kept.append((name, value))


# -- the pure task ---------------------------------------------------------------------------------------------------


def test_every_setting_of_the_file_can_be_changed_but_lists_of_files_ports_and_keys() -> None:
    assert {setting.name for setting in SETTINGS} == set(Settings.model_fields) - {"recent", "ports", "tables", "keys"}


def test_every_value_is_one_that_the_file_takes_and_the_usual_one_is_the_files() -> None:
    for setting in SETTINGS:
        values = [choice.value for choice in setting.choices] or [setting.least, setting.most]
        for value in values:
            Settings.model_validate({setting.name: value})
        assert setting.does
        assert all(choice.does for choice in setting.choices)
        if setting.name != "signs":  # not set: it is asked
            assert getattr(Settings(), setting.name) == setting.usual
    with pytest.raises(ValueError, match="101"):
        Settings.model_validate({"brightness_percent": 101})


def _stepped(s: SettingsState, *events: object) -> tuple[SettingsState, list[object]]:
    task, _ = make(Opened(map=None))
    effects: list[object] = []
    for event in events:
        found = task.step(s, event, 0.0)
        assert found is not None
        s, more = found
        effects += more
    return s, effects


@pytest.mark.parametrize("by", [1, -1])
@pytest.mark.parametrize("name", [setting.name for setting in SETTINGS if setting.choices])
def test_steps_go_round_all_values(name: str, by: int) -> None:
    _, state = make(Opened(map=None))
    setting = next(setting for setting in SETTINGS if setting.name == name)
    s, seen = state, []
    s, _ = _stepped(s, ev.Choose([each.name for each in SETTINGS].index(name)))
    for _ in setting.choices:
        s, effects = _stepped(s, StepSetting(by))
        assert effects == [fx.ChangeSetting(name, s.values[name])]
        seen.append(s.values[name])
    assert sorted(map(str, seen)) == sorted(str(choice.value) for choice in setting.choices)
    assert s.values[name] == setting.usual


def test_brightness_is_typed_within_its_bounds() -> None:
    _, state = make(Opened(map=None, settings={"brightness_percent": 25}))
    s, _ = _stepped(state, ev.Choose(2))
    assert s.at == "brightness_percent"
    s, effects = _stepped(s, ev.Take(), ev.Typed("0"), ev.Take())
    assert s.typed == "0"
    assert "1 to 100" in s.message
    assert effects == [fx.Bell()]
    s, effects = _stepped(s, ev.Typed("40 %"), ev.Take())
    assert effects == [fx.ChangeSetting("brightness_percent", 40)]
    assert s.typed is None
    s, _ = _stepped(s, StepSetting(1))
    assert s.values["brightness_percent"] == 45
    s, _ = _stepped(s, UsualSetting())
    assert s.values["brightness_percent"] == 25


def test_a_setting_changed_elsewhere_is_seen() -> None:
    _, state = make(Opened(map=None))
    s, _ = _stepped(state, ev.SettingChanged("theme", "light-room"))
    assert s.values["theme"] == "light-room"


# -- in the program ---------------------------------------------------------------------------------------------------


@pytest.mark.slow
async def test_a_change_holds_at_once_in_open_tasks_and_is_kept(open_app: OpenApp) -> None:
    async with open_app(small()) as stage:
        await stage.lit()
        stage.app.opener = keeps = Keeps()
        await stage.app.run_action("settings")
        await stage.pilot.pause(0.1)
        assert "dark shop" in text_of(stage.app)
        await stage.pilot.press("right")
        await stage.pilot.pause()
        assert stage.app.theme == "high-contrast"
        await stage.pilot.press("down", "down", "enter", *"50", "enter")
        await stage.pilot.press("down", "right")
        await stage.pilot.pause(0.1)
        assert keeps.kept == [("theme", "high-contrast"), ("brightness_percent", 50), ("steady_only", True)]
        await stage.pilot.press("escape")
        await stage.lit()
        assert stage.walk.level == 128
        assert stage.walk.steady_only


@pytest.mark.slow
async def test_what_cannot_be_kept_holds_until_one_leaves(open_app: OpenApp) -> None:
    class Fails(NoOpener):
        def remember_setting(self, name: str, value: object) -> None:
            raise PermissionError("the disk [/x] is full")

    async with open_app(small()) as stage:
        await stage.lit()
        stage.app.opener = Fails()
        await stage.app.run_action("settings")
        await stage.pilot.pause(0.1)
        await stage.pilot.press("right")
        await stage.pilot.pause(0.1)
        assert stage.app.theme == "high-contrast"
        assert any("the disk [/x] is full" in note.message for note in stage.app._notifications)


@pytest.mark.slow
async def test_they_open_from_home_without_a_map_and_lead_back() -> None:
    app = ProbeApp(LaunchOptions(start_here=True), Session(), NoOpener())
    async with app.run_test(size=(80, 24)) as pilot:
        for key, word in (("s", "Colours"), ("g", "Map a chain")):
            await pilot.press(key)
            await pilot.pause(0.1)
            assert word in text_of(app)
            await pilot.press("escape")
            await pilot.pause(0.1)
            assert isinstance(app.screen, HomeScreen)


# -- signs of the font -------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.parametrize("size", first_now([(80, 24), (120, 40), (200, 60)]))
async def test_the_first_run_asks_for_signs_once(size: tuple[int, int]) -> None:
    keeps = Keeps()
    app = ProbeApp(LaunchOptions(start_here=True, ask_signs=True), Session(), keeps)
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        assert isinstance(app.screen, SignsScreen)
        shown = text_of(app)
        for signs in ("fine", "blocks", "ascii"):
            assert sample(signs).splitlines()[4].strip() in shown
        await pilot.press("2")
        await pilot.pause()
        assert isinstance(app.screen, HomeScreen)
        assert keeps.kept == [("signs", "blocks")]
        assert app.options.signs == "blocks"


async def test_put_off_it_is_asked_the_next_time() -> None:
    keeps = Keeps()
    app = ProbeApp(LaunchOptions(start_here=True, ask_signs=True), Session(), keeps)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("escape")
        await pilot.pause()
        assert isinstance(app.screen, HomeScreen)
        assert keeps.kept == []


@pytest.mark.slow
async def test_signs_change_what_is_drawn_at_once(open_app: OpenApp) -> None:
    def braille(text: str) -> bool:
        return any(0x2800 < ord(c) < 0x2900 for c in text)

    async with open_app(small(), size=(120, 40)) as stage:
        await stage.lit()
        for signs in ("blocks", "ascii", "fine"):
            stage.app.change_setting("signs", signs)
            await stage.pilot.pause(0.1)
            drawn = "".join(segment.text for strip in stage.app.screen._compositor.render_strips() for segment in strip)
            filtered = drawn
            for each in stage.app._filters:
                if type(each).__name__ == "BlocksOnly":
                    filtered = to_blocks(filtered)
            assert braille(filtered) == (signs == "fine"), signs
            assert (stage.app.screen.query_one("#picture").plain_ascii) == (signs == "ascii")  # type: ignore[attr-defined]


def test_each_colour_keeps_a_sign_of_its_own_in_ascii() -> None:
    signs = [*(colour.sign for colour in LOOK_COLOURS), DARK_SIGN, OTHER_SIGN]
    assert len(set(map(to_ascii, signs))) == len(signs)


def test_a_scroll_bar_in_ascii_has_no_parts_of_cells() -> None:
    for position in range(40):
        for vertical in (True, False):
            bar = WholeCells.render_bar(size=10, virtual_size=50, window_size=11, position=position, vertical=vertical)
            assert {segment.text.strip() for segment in bar.segments} == {""}


def test_blocks_fill_each_quarter_that_has_a_dot() -> None:
    for dots, block in ((0x01, "▘"), (0x02, "▘"), (0x08, "▝"), (0x10, "▝"), (0x04, "▖"), (0x40, "▖"), (0x20, "▗"),
                        (0x80, "▗"), (0xFF, "█"), (0x00, " "), (0x47, "▌")):  # fmt: skip
        assert to_blocks(chr(0x2800 + dots)) == block
    assert to_ascii("☐ ✓ open, done") == "o + open, done"
    assert to_ascii("Otter …10, Whirlp…") == "Otter ~10, Whirlp~", "what is cut does not end like a sentence"
    assert to_ascii("\N{BRAILLE PATTERN BLANK}⣿") == " #"
    assert to_blocks("⊚ ◉ x") == "O ◉ x"
    assert to_ascii("0.5 mm² ¹") == "0.5 mm2 *", "a square is no foot, and no quotation"


# -- the guide ------------------------------------------------------------------------------------------------------------


def test_every_page_is_there_in_the_order_of_the_job() -> None:
    names = [page.name for page in pages()]
    assert set(names) == {path.stem for path in GUIDE.glob("*.md")}
    assert names[: len(ORDER)] == list(ORDER)


@pytest.mark.parametrize("page", pages(), ids=lambda page: page.name)
def test_no_word_of_a_page_is_lost(page) -> None:  # type: ignore[no-untyped-def]
    text = re.sub(
        r"!\[.*?\]\(.*?\)", "", (GUIDE / f"{page.name}.md").read_text(encoding="utf-8")
    )  # pictures are left out
    shown = " ".join(line.text for line in page.lines)
    for word in ("".join(c if c.isalpha() else " " for c in text)).split():
        assert word in shown or word in ("svg", "console", "md", "sh", "json", "guide", "probe", "images"), word
    assert not any("**" in line.text or "](" in line.text for line in page.lines)


def test_code_stays_as_it_is_and_paragraphs_are_joined() -> None:
    page = page_of(
        "x", "# A `b`\n\none\ntwo [three](x.md) **four**\n\n```console\n$ do  it\n  out\n```\n\n    fixed  text\n"
    )
    assert page.title == "A b"
    texts = [line.text for line in page.lines]
    assert "one two three four" in texts
    assert " $ do  it" in texts
    assert "   out" in texts
    assert " fixed  text" in texts


def test_a_page_asked_for_by_name_is_left_in_one_step() -> None:
    task, state = make_guide(Opened(map=None, facts="faults"))
    assert isinstance(state, GuideState)
    assert state.page == "faults"
    assert task.step(state, ev.Leave(), 0.0) is None


@pytest.mark.slow
async def test_a_page_is_read_and_scrolled(open_app: OpenApp) -> None:
    async with open_app(small(), size=(80, 24)) as stage:
        await stage.lit()
        await stage.app.run_action("guide")
        await stage.pilot.pause(0.1)
        await stage.pilot.press("enter")
        await stage.pilot.pause(0.1)
        first = text_of(stage.app)
        assert "Map a chain" in first
        await stage.pilot.press("pagedown", "pagedown")
        await stage.pilot.pause(0.1)
        assert text_of(stage.app) != first
        await stage.pilot.press("escape", "escape")
        await stage.lit()


async def test_a_page_of_the_guide_does_not_say_what_the_demo_lights(open_app: OpenApp) -> None:
    kelp = load_map(demo_map_path())
    async with open_app(kelp, kelp, size=(80, 24)) as stage:
        await stage.lit()
        assert "Under the glass" in text_of(stage.app)
        stage.app.runtime.open("guide", "map")
        await stage.pilot.pause(0.2)
        assert "Guide" in text_of(stage.app)
        assert "Under the glass" not in text_of(stage.app)
        await stage.pilot.press("escape")
        await stage.pilot.pause(0.2)
        assert "Under the glass" in text_of(stage.app)
