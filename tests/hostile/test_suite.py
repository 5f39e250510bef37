"""The standing hostile suite: every property names tests that are there, and a run prints one line for each."""

from __future__ import annotations

import pytest

from tests.hostile.__main__ import PROPERTIES, ROOT, main


def test_every_property_names_tests_that_are_there() -> None:
    for tests in PROPERTIES.values():
        for path in tests:
            found = ROOT / path
            assert found.is_file() or list(found.glob("test_*.py")), path
    assert {f"tests/hostile/{path.name}" for path in (ROOT / "tests/hostile").glob("test_*.py")} - {
        path for tests in PROPERTIES.values() for path in tests
    } == {"tests/hostile/test_suite.py"}


@pytest.mark.slow
def test_a_short_run_prints_a_line_for_each_property(capsys: pytest.CaptureFixture[str]) -> None:
    """Two of the quickest: the tests of all the others run in CI by themselves."""
    assert main(["documented ports", "archives"]) == 0
    first, second = capsys.readouterr().out.splitlines()
    assert first.startswith("holds")
    assert "only documented ports are opened: " in first
    assert " passed" in first
    assert second.startswith("holds")


@pytest.mark.slow
def test_what_does_not_hold_is_named(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(PROPERTIES, "planted", ("tests/no_such_test.py",))
    assert main(["planted"]) == 1
    assert capsys.readouterr().out.startswith("BROKEN")
