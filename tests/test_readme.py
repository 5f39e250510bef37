"""The README misses nothing: every setting with its values, every command, the demo's options, every guide page."""

from __future__ import annotations

import argparse
import json
import os
import re
from pathlib import Path
from typing import Literal, get_args, get_origin

import pytest

from probe.cli.parser import EXPORTS, build_parser
from probe.document.settings import MAX_RECENT, Settings

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def section(title: str) -> str:
    found = re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", README, re.MULTILINE | re.DOTALL)
    assert found, f"README has no section {title!r}"
    return found[1]


def setting_rows() -> dict[str, list[str]]:
    rows = re.findall(r"^\| `(\w+)` \|(.*)\|$", section("Settings"), re.MULTILINE)
    return {name: [cell.strip() for cell in cells.split(" | ")] for name, cells in rows}


def subcommands() -> dict[str, argparse.ArgumentParser]:
    actions = build_parser()._actions
    return dict(next(a for a in actions if isinstance(a, argparse._SubParsersAction)).choices)


def test_the_settings_table_names_the_settings_there_are() -> None:
    assert set(setting_rows()) == set(Settings.model_fields)


@pytest.mark.parametrize("name", Settings.model_fields)
def test_each_setting_says_its_values_and_the_usual_one(name: str) -> None:
    field = Settings.model_fields[name]
    values, usual, does = setting_rows()[name]
    assert does
    default = field.get_default(call_default_factory=True)
    assert f"`{json.dumps(default)}`" in usual or usual == json.dumps(default)
    if get_origin(field.annotation) is Literal:
        for value in get_args(field.annotation):
            assert f'`"{value}"`' in values
    if field.annotation is bool:
        assert values == "`true`, `false`"
    limits = [getattr(m, side) for m in field.metadata for side in ("ge", "le") if hasattr(m, side)]
    assert all(str(limit) in values for limit in limits)
    if name == "recent":
        assert str(MAX_RECENT) in values


def test_the_example_of_settings_is_valid() -> None:
    example = re.search(r"^    \{\n.*?^    \}$", section("Settings"), re.MULTILINE | re.DOTALL)
    assert example
    Settings.model_validate_json(example[0], strict=True)


@pytest.mark.parametrize("where", ["~/.config/playfield-probe/", "~/Library/Application Support/", "%LOCALAPPDATA%"])
def test_the_place_of_the_settings_is_said_for_each_system(where: str) -> None:
    assert where in section("Settings")


@pytest.mark.parametrize("command", subcommands())
def test_every_command_is_listed(command: str) -> None:
    assert re.search(rf"playfield-probe {command}\b|;  {command} MAP\b", section("Commands")), command


def test_the_demos_options_are_named() -> None:
    options = {o for action in subcommands()["demo"]._actions for o in action.option_strings if o.startswith("--")}
    missing = {option for option in options - {"--help"} if option not in README}
    assert not missing


def test_every_export_is_named() -> None:
    assert "|".join(EXPORTS) in section("Commands")


def test_every_guide_page_is_linked() -> None:
    for page in sorted((ROOT / "probe" / "guide").glob("*.md")):
        assert f"(probe/guide/{page.name})" in README
    for target in re.findall(r"\]\(([^)#]+)\)", README):
        assert (ROOT / target).exists(), target


def test_it_opens_with_the_job_in_one_paragraph() -> None:
    title, first, _ = README.split("\n\n", 2)
    assert title == "# playfield-probe"
    assert first.count("\n") < 10
    assert "pinball" in first


def test_two_commands_open_the_demo_and_pass_the_tests_as_ci_does() -> None:
    install, tests, *_ = re.findall(r"^    (\S.*)$", section("Two commands"), re.MULTILINE)
    assert install.endswith("playfield-probe demo")
    assert "pip install" in install
    assert tests == ".ci/run"
    assert os.access(ROOT / tests, os.X_OK)
    assert "python -m pytest" in (ROOT / tests).read_text(encoding="utf-8")


def test_what_is_needed_and_a_picture_come_before_the_commands() -> None:
    before = README.split("## Two commands")[0]
    assert "**What is needed.**" in before
    assert "](probe/guide/pictures/walk.svg)" in before
