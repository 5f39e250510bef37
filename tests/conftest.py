"""Fixtures that several packages of tests share."""

from __future__ import annotations

import gc
import os

# numpy's threads would wait for each other in several processes on few cores: set before it is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from collections.abc import Generator, Iterator
from itertools import islice
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.firmware.conftest import avr_elf, host_program
from tests.support import headless
from tests.support.tools import MissingToolError

# How fast the machine is does not decide a test: a busy one must not fail it.
settings.register_profile("full", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=100)
settings.register_profile("quick", settings.get_profile("full"), max_examples=15)
settings.load_profile("quick")  # `.ci/run` asks for the full one

# A program that a test starts would compile all its modules anew each time, which takes longer than most tests.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

headless.install()

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


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What takes long comes first, dealt to all processes: else one of them is still at it when the others have ended.

    Each process begins with a part of the list as long as that of the others.
    """
    processes = getattr(config, "workerinput", {}).get("workercount", 1)
    long = [item for item in items if item.get_closest_marker("long")]
    others = iter([item for item in items if not item.get_closest_marker("long")])
    dealt = [long[number::processes] for number in range(processes)]
    part = -(-len(items) // processes)
    items[:] = [item for first in dealt for item in (*first, *islice(others, max(0, part - len(first))))] + list(others)


def pytest_collection_finish() -> None:
    """What collecting made stays to the end: it is not looked through again at every collection of garbage."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)  # else a fifth of a screen's test is spent on looking for garbage


HEAD_LINES, TAIL_LINES, LINE_SIGNS, CAPTURED_SIGNS = 80, 60, 300, 4_000
"""What is kept of a failure's text and of what the test printed: one failure never fills a log."""


def _bounded(text: str) -> str:
    lines = [line if len(line) <= LINE_SIGNS else f"{line[:LINE_SIGNS]} …" for line in text.splitlines()]
    left_out = len(lines) - HEAD_LINES - TAIL_LINES
    if left_out > 0:
        lines[HEAD_LINES:-TAIL_LINES] = [f"… {left_out} lines left out"]
    return "\n".join(lines)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Failures in bounded length, also in CI, where pytest cuts nothing."""
    report = yield
    if report.failed:
        text = report.longreprtext
        if (short := _bounded(text)) != text:
            report.longrepr = short
        report.sections = [(name, text[-CAPTURED_SIGNS:]) for name, text in report.sections]
    return report


def pytest_unconfigure(config: pytest.Config) -> None:
    """The last lines of a run with failures: their names, one a line."""
    reporter = config.pluginmanager.get_plugin("terminalreporter")
    if reporter is None or hasattr(config, "workerinput"):
        return
    broken = dict.fromkeys(report.nodeid for how in ("failed", "error") for report in reporter.stats.get(how, ()))
    if broken:
        print(f"\nfailed ({len(broken)}):", *broken, sep="\n")
