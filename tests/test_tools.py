"""A tool that is missing skips a test by name on a person's machine, and fails it in CI."""

from __future__ import annotations

import re

import pytest

from tests import conftest
from tests.support.tools import PACKAGES, MissingToolError, require


def test_what_is_missing_is_named_with_its_package(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    for tool, package in PACKAGES.items():
        if not tool.startswith("/"):
            with pytest.raises(MissingToolError, match=f"{tool.replace('+', '.')} is missing .Debian: {package[:3]}"):
                require(tool)


@pytest.mark.parametrize("hook", [conftest.pytest_pyfunc_call, conftest.pytest_runtest_setup])
def test_skipped_at_home_and_failed_in_ci(hook: object, monkeypatch: pytest.MonkeyPatch) -> None:
    for ci, outcome in (("1", MissingToolError), ("", pytest.skip.Exception)):
        monkeypatch.setenv("CI", ci)
        running = hook()  # type: ignore[operator]
        next(running)
        with pytest.raises(outcome, match="ngspice is missing"):
            running.throw(MissingToolError("ngspice is missing"))


def test_ci_installs_every_package_that_a_test_may_name() -> None:
    run = (conftest.ROOT / ".ci" / "run").read_text(encoding="utf-8")
    named = set(re.findall(r"[a-z0-9.+-]+", run[: run.index("apt-get update")]))
    for packages in PACKAGES.values():
        assert set(packages.split()) <= named, packages


def test_a_fixture_that_failed_once_skips_every_test_that_asks_for_it(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its failure is kept and raised again without being set up again."""
    monkeypatch.delenv("CI", raising=False)
    pytester.makeconftest("from tests.conftest import pytest_pyfunc_call, pytest_runtest_setup")
    pytester.makepyfile(
        """
        import pytest
        from tests.support.tools import MissingToolError

        @pytest.fixture(scope="session")
        def built():
            raise MissingToolError("make is missing")

        @pytest.mark.parametrize("number", [1, 2])
        def test_built(built, number): ...
        """
    )
    pytester.runpytest_inprocess(
        "-p", "no:cacheprovider", "-p", "no:xdist", "-o", "asyncio_default_fixture_loop_scope=function"
    ).assert_outcomes(skipped=2)
