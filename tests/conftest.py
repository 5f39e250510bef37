"""Fixtures that several packages of tests share."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.firmware.conftest import avr_elf, host_program
from tests.support.tools import MissingToolError

# How fast the machine is does not decide a test: a busy one must not fail it.
settings.register_profile("full", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=100)
settings.register_profile("quick", settings.get_profile("full"), max_examples=25)
settings.load_profile("quick")  # `.ci/run` asks for the full one

# A program that a test starts would compile all its modules anew each time, which takes longer than most tests.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

__all__ = ["avr_elf", "host_program"]

pytest_plugins = ["pytester"]
ROOT = Path(__file__).resolve().parent.parent


def _skip_or_fail(error: MissingToolError) -> None:
    if os.environ.get("CI"):
        raise error
    pytest.skip(str(error))


@pytest.hookimpl(wrapper=True)
def pytest_pyfunc_call() -> Iterator[None]:
    """Outside CI a test whose tool is missing is skipped by name; in CI it fails."""
    try:
        return (yield)
    except MissingToolError as error:
        _skip_or_fail(error)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_setup() -> Iterator[None]:
    """The same for what a fixture needs, also one that failed for an earlier test and is not tried again."""
    try:
        return (yield)
    except MissingToolError as error:
        _skip_or_fail(error)
