"""Human time of the recheck's actions, by the Keystroke-Level Model.

The person answers with keys.  A predicted answer is confirmed by one key; another place is picked by typing a few
letters of its name.  The model has no operators for looking over a playfield or for turning from it to a screen two
metres away: SCAN_SECONDS, one fixation for each place, and TURN_SECONDS for each answer are our own assumptions, no
source.
"""

from __future__ import annotations

from probe.inference.keystroke import Operator, klm_seconds

SCAN_SECONDS = 0.2
TURN_SECONDS = 4.0
CONFIRM = klm_seconds([Operator.THINK, Operator.KEY])
"""Mental preparation and one key: 1.55 s."""
PICK_PLACE = klm_seconds([Operator.THINK, Operator.THINK] + [Operator.KEY] * 4)
"""Decide it is another place, recall its name, three letters and Enter."""
NAME_PLACE = klm_seconds([Operator.THINK, Operator.THINK] + [Operator.KEY] * 12)
"""Decide it is new, think of a name, type it."""
PICK_COLOUR = klm_seconds([Operator.THINK, Operator.KEY])


def probe_seconds(*, predicted: float) -> float:
    """Expected seconds of a probe whose predicted answer comes with the chance `predicted`."""
    return TURN_SECONDS + predicted * CONFIRM + (1.0 - predicted) * PICK_PLACE


def look_seconds(*, places: int, differs: float) -> float:
    """Expected seconds of a look over this many places that differs with the chance `differs`.

    A look that differs is scanned half-way on average, then the place and its colour are given.
    """
    clean = places * SCAN_SECONDS + CONFIRM
    found = 0.5 * places * SCAN_SECONDS + PICK_PLACE + PICK_COLOUR
    return TURN_SECONDS + differs * found + (1.0 - differs) * clean
