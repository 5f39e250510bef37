"""The power plan and the harness sheet on the terminal."""

from __future__ import annotations

import shutil
import textwrap
from collections.abc import Iterable
from typing import TYPE_CHECKING

from probe.cli.outcome import Exit, say, say_json
from probe.document.outside_text import escaped

if TYPE_CHECKING:
    from probe.harness.words import Section

WIDEST = 100
LEAST = 40


def show_power(path: str, *, as_json: bool, plain_ascii: bool = False) -> int:
    """Print the power plan of a map. Exit code 1 if something must be mended before power on."""
    from probe.document.file import load_map
    from probe.harness.from_map import compute
    from probe.harness.picture import profile_of, text_picture
    from probe.harness.words import as_data, power_sections

    power = compute(load_map(path))
    if as_json:
        say_json(as_data(power))
    else:
        _print(power_sections(power)[:1])
        if power.solved is not None:
            for chain in power.solved[0].plan.chains:
                profile = profile_of(power, chain.name)
                say("")
                say(*text_picture(profile, width=_width(), height=14, ascii_only=plain_ascii))
            say("")
        _print(power_sections(power)[1:])
    return Exit.FINDINGS if power.must_stop else Exit.FINE


def show_harness(path: str, *, as_json: bool) -> int:
    """Print the harness sheet of a map. Exit code 1 if a joint connects unlike functions."""
    from probe.document.file import load_map
    from probe.harness.joints import refusals
    from probe.harness.words import harness_data, harness_sheet_lines

    map_ = load_map(path)
    refused = refusals(map_)
    if as_json:
        say_json({"refused": refused, "joints": harness_data(map_)})
    else:
        _print(harness_sheet_lines(map_))
        say("", f"{refused} refused." if refused else "No joint is refused.")
    return Exit.FINDINGS if refused else Exit.FINE


def _width() -> int:
    return max(LEAST, min(WIDEST, shutil.get_terminal_size((80, 24)).columns - 1))


def _print(sections: Iterable[Section]) -> None:
    """Sections with wrapped lines; what a line is indented by is kept, and its rest hangs."""
    for number, section in enumerate(sections):
        if number:
            say("")
        say(section.title)
        for line in section.lines:
            inner = escaped(line)  # before its width is measured
            indent = "  " + " " * (len(inner) - len(inner.lstrip()))
            say(*textwrap.wrap(inner.strip(), _width(), initial_indent=indent, subsequent_indent=indent + "  ") or [""])
