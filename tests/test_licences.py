"""The list of what an installation brings along names every package, with the licence that it states of itself."""

from __future__ import annotations

import importlib.metadata
import re
import tomllib
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
_ROW = re.compile(r"^\| ([a-z0-9-]+) \| ([A-Za-z0-9.-]+) \| ([a-z0-9, -]*) ?\|$", re.MULTILINE)
LISTED = {
    name: (licence, via)
    for name, licence, via in _ROW.findall(
        (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("brings along")[1]
    )
}


def declared() -> list[Requirement]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [Requirement(line) for line in project["dependencies"]]


def installed() -> dict[str, set[str]]:
    """Every package that an installation brings along here, with those that need it."""
    found: dict[str, set[str]] = {}
    waiting = [("", requirement) for requirement in declared()]
    for parent, requirement in waiting:
        name = canonicalize_name(requirement.name)
        known = name in found
        found.setdefault(name, set()).add(parent)
        if known and not requirement.extras:
            continue
        for line in importlib.metadata.requires(name) or ():
            needed = Requirement(line)
            if needed.marker is None or any(
                needed.marker.evaluate({"extra": extra}) for extra in ("", *requirement.extras)
            ):
                waiting.append((name, needed))
    return found


def stated(name: str) -> str:
    """What a package says of its licence: an SPDX expression, else its classifiers and a word."""
    about = importlib.metadata.metadata(name)
    classifiers = [text for text in about.get_all("Classifier") or () if text.startswith("License")]
    if "License-Expression" in about:
        return about["License-Expression"]
    return "; ".join([*classifiers, about["License"] if "License" in about else ""])  # noqa: SIM401 - it has no get


def test_the_list_names_every_package() -> None:
    found = installed()
    assert set(found) <= set(LISTED)
    for name, (_, via) in LISTED.items():
        assert (not via) == (name in {canonicalize_name(requirement.name) for requirement in declared()}), name
        if via and name in found:
            assert set(via.strip().split(", ")) <= found[name], name


def test_licences_are_those_that_the_packages_state() -> None:
    for name in installed():
        licence = LISTED[name][0]
        said = stated(name)
        assert licence in said or licence.split("-")[0] in re.findall(r"\w+", said.split("Copyright")[0]), (name, said)
