"""Does a board keep to the protocol? Every clause of the specification as a named check, for anybody's firmware.

Pure: the checks are coroutines over a `Talk`, which may be a serial line or a simulated board whose time is passed by hand.
"""

from probe.boardcheck import checks_features, checks_light, checks_line, checks_orders  # noqa: F401 - they register
from probe.boardcheck.dialogue import Dialogue, Failure, Talk
from probe.boardcheck.registry import Check, Outcome, Result, run_checks

__all__ = ["Check", "Dialogue", "Failure", "Outcome", "Result", "Talk", "run_checks"]
