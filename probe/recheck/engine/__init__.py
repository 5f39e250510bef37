"""Finding the right map again after a change, as inference over whole maps.

Entry points: `Setup` (what the chain was), `Recheck` (what to ask next, what is believed, the result).  Old numbers, places
and chains are plain whole numbers here; joining them to a map is the caller's part.  `model`: maps, questions, answers.
`world`: what a map would show, and what an answer says of it.  `codes`: pictures.  `evidence`: sums of what answers say,
along a map.  `moves`: the kinds of edits.  `engine`: the belief, the choice, and the proof that it ends.
"""

from probe.recheck.engine.codes import UNLIT
from probe.recheck.engine.engine import Options, Recheck, RecheckStep
from probe.recheck.engine.model import END, NEW, Action, Answer, Look, Observation, Probe, Setup
from probe.recheck.engine.result import Found, Result

__all__ = [
    "END",
    "NEW",
    "UNLIT",
    "Action",
    "Answer",
    "Found",
    "Look",
    "Observation",
    "Options",
    "Probe",
    "Recheck",
    "RecheckStep",
    "Result",
    "Setup",
]
