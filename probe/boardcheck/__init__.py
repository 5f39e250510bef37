"""Does a board keep to the protocol? Every clause of the specification as a named check, for anybody's firmware.

    dialogue = Dialogue(talk)            # a Talk: a serial line, or a simulated board whose time is passed by hand
    await dialogue.greet()               # who is it? Raises Failure when nothing usable answers
    results = await run_checks(dialogue, only=(), on_result=print, table=None)
    verdict(dialogue, results, ...)      # as JSON, with a line to publish

With `table=TableSafe(begin, end)` the lamp table is tried too: `begin` reads and keeps the person's table (`save_table`),
`end` puts it back (`restore_table`, which raises TableNotRestoredError). Without, the table in force is never changed.
Pure: no port, no clock of its own.
"""

from probe.boardcheck import checks_features, checks_light, checks_line, checks_orders  # noqa: F401 - they register
from probe.boardcheck.checks_table import SavedTable, TableNotRestoredError, restore_table, save_table
from probe.boardcheck.dialogue import Dialogue, Failure, Talk
from probe.boardcheck.registry import CHECKS, Check, ClauseOutcome, ClauseResult, TableSafe, run_checks
from probe.boardcheck.verdict import verdict

__all__ = [
    "CHECKS",
    "Check",
    "ClauseOutcome",
    "ClauseResult",
    "Dialogue",
    "Failure",
    "SavedTable",
    "TableNotRestoredError",
    "TableSafe",
    "Talk",
    "restore_table",
    "run_checks",
    "save_table",
    "verdict",
]
