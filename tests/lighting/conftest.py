"""The program on a simulated board, as in the tests of its screens."""

from tests.ui.conftest import open_app

__all__ = ["open_app"]
