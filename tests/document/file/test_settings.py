"""Settings: small, typed, safe to change from two programs, and clear about what is wrong with them."""

from __future__ import annotations

import errno
import json
import os
import threading
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.file import (
    CannotSaveError,
    DamagedFileError,
    UnsoundMapError,
)
from probe.document.settings import (
    MAX_RECENT,
    RememberedPort,
    Settings,
    Theme,
    change_settings,
    load_settings,
    settings_path,
    settings_text,
)
from probe.ui.themes import OURS
from tests.document.file.disks import FailingDisk, names_in
from tests.document.strategies import texts

ports = st.builds(RememberedPort, usb_serial=st.none() | texts.map(lambda t: t[:200]), address=texts)
any_settings = st.builds(
    Settings,
    recent=st.lists(texts, max_size=MAX_RECENT).map(tuple),
    ports=st.dictionaries(texts, ports, max_size=3),
    keys=st.dictionaries(texts, texts, max_size=3),
    bell=st.booleans(),
    steady_only=st.booleans(),
    brightness_percent=st.integers(1, 100),
)


@given(any_settings)
def test_any_settings_read_back_equal(settings: Settings) -> None:
    assert Settings.model_validate_json(settings_text(settings), strict=True) == settings


def test_only_what_differs_is_written(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "settings.json"
    assert load_settings(path) == Settings()
    assert not path.parent.exists()
    change_settings(lambda s: s.model_copy(update={"bell": False}), path)
    assert json.loads(path.read_text(encoding="utf-8")) == {"bell": False}
    assert load_settings(path).bell is False


def test_the_last_map_and_its_board_are_remembered(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    board = RememberedPort(usb_serial="A50285BI", address="/dev/ttyACM0")
    change_settings(lambda s: s.with_map("kelp.json").with_port("kelp.json", board), path)
    settings = change_settings(lambda s: s.with_map("reef.json"), path)
    assert settings.recent == (os.path.realpath("reef.json"), os.path.realpath("kelp.json"))
    assert load_settings(path).port_for("./kelp.json") == board
    assert load_settings(path).port_for("reef.json") is None


def test_the_list_of_maps_stays_short_and_without_doubles() -> None:
    settings = Settings()
    for number in [*range(20), 15]:
        settings = settings.with_map(f"/maps/{number}.json")
    assert settings.recent[0] == os.path.realpath("/maps/15.json")
    assert len(settings.recent) == len(set(settings.recent)) == MAX_RECENT


@pytest.mark.parametrize(
    ("text", "line", "field", "said"),
    [
        (
            '{\n"bell": true,\n"bel": false\n}',
            3,
            "bel",
            "'bel' is not known here .did you mean 'bell'..; known are bell, ",
        ),
        (
            '{"volume": 3}',
            1,
            "volume",
            "known are bell, brightness_percent, keys, ports, recent, signs, steady_only, tables",
        ),
        ('{\n"brightness_percent": 101}', 2, "brightness_percent", "less than or equal to 100 .found: 101"),
        ('{\n"brightness_percent": "50"}', 2, "brightness_percent", "valid integer"),
        ('{\n"bell": 1\n}', 2, "bell", "valid boolean"),
        ('{"ports": {"/kelp.json": {\n"serial": "A"}}}', 2, "ports./kelp.json.serial", "known are address, usb_serial"),
        ('{"bell": true,\n"bell": false}', 2, "bell", "there twice"),
        ('{"bell": tru}', 1, None, "not valid JSON"),
        ("", None, None, "empty"),
        ("[]", 1, None, "object"),
    ],
)
def test_wrong_settings_are_refused_and_left_alone(
    text: str, line: int | None, field: str | None, said: str, tmp_path: Path
) -> None:
    path = tmp_path / "settings.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(DamagedFileError, match=said) as caught:
        load_settings(path)
    assert (caught.value.line, caught.value.field) == (line, field)
    assert "remove the file to have the usual settings" in caught.value.hint
    with pytest.raises(DamagedFileError):
        change_settings(lambda s: s.with_map("kelp.json"), path)
    assert path.read_text(encoding="utf-8") == text


def test_a_wrong_change_is_not_written(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    with pytest.raises(UnsoundMapError, match="Nothing was saved"):
        change_settings(lambda s: s.model_copy(update={"brightness_percent": 0}), path)
    assert not path.exists()


def test_a_failing_disk_leaves_the_old_settings(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    old = change_settings(lambda s: s.with_map("kelp.json"), path)
    for step in range(9):
        disk = FailingDisk(fails_at=step, error=OSError(errno.ENOSPC, "no space"))
        with pytest.raises(CannotSaveError, match="no space"):
            change_settings(lambda s: s.with_map("reef.json"), path, disk=disk)
        assert load_settings(path) in ((old,) if step < 8 else (old.with_map("reef.json"),))
    assert names_in(tmp_path) <= {"settings.json", ".settings.json.lock"}


def test_changes_from_several_sides_are_all_kept(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"

    def remember(name: str) -> None:
        change_settings(lambda s: s.model_copy(update={"keys": {**s.keys, name: "f5"}}), path)

    threads = [threading.Thread(target=remember, args=(f"action {number}",)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(load_settings(path).keys) == 8


def test_the_place_of_the_settings_can_be_named(tmp_path: Path) -> None:
    named = tmp_path / "mine.json"
    assert settings_path({"PLAYFIELD_PROBE_SETTINGS": str(named)}) == named
    usual = settings_path({})
    assert usual.name == "settings.json"
    assert "playfield-probe" in str(usual)


def test_every_theme_of_the_settings_is_a_theme_of_the_screen() -> None:
    assert set(get_args(Theme)) == {theme.name for theme in OURS}
