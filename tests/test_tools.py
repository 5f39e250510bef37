"""A tool that is missing skips a test by name on a person's machine, and fails it in CI."""

from __future__ import annotations

import re
import tomllib

import pytest

from tests import conftest
from tests.support.tools import PACKAGES, MissingToolError, require

INI = tomllib.loads((conftest.ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
SHORT = [word for word in INI["addopts"].split() if word.startswith("--force")]


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


@pytest.mark.slow
def test_a_failure_is_bounded_and_named_in_the_last_lines(
    pytester: pytest.Pytester, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("CI", "1")
    pytester.makeconftest("from tests.conftest import pytest_runtest_makereport, pytest_unconfigure")
    pytester.makepyfile(
        """
        import pytest

        @pytest.fixture
        def broken():
            raise ValueError("x" * 100_000)

        def test_long():
            print("y" * 100_000)
            assert ["a line"] * 100_000 == []

        def test_not_set_up(broken): ...

        def test_good(): ...
        """
    )
    result = pytester.runpytest_inprocess(
        "-p", "no:cacheprovider", "-p", "no:xdist", "-o", "asyncio_default_fixture_loop_scope=function", *SHORT
    )
    result.assert_outcomes(passed=1, failed=1, errors=1)
    name = "test_a_failure_is_bounded_and_named_in_the_last_lines.py"
    assert result.outlines[-3:] == ["failed (2):", f"{name}::test_long", f"{name}::test_not_set_up"]
    assert len(result.outlines) < 300
    assert all(len(line) < 4_100 for line in result.outlines)
