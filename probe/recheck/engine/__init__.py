"""Finding the right map again after a change, as Bayesian alignment.

Entry points: `Setup` (what the chain was), `Recheck` (what to ask next, what is believed, the result), `Locate` (which
number is at this place).  Old numbers, places and chains are plain whole numbers here; joining them to a map is the
caller's part.  One `Recheck` is one chain: a change in one chain never renumbers another.
"""

from probe.recheck.engine.belief import Options
from probe.recheck.engine.codes import UNLIT, complement_code, frame_code, look_code
from probe.recheck.engine.engine import Recheck, RecheckStep
from probe.recheck.engine.locate import Locate
from probe.recheck.engine.model import (
    END,
    NEW,
    Action,
    AllAsShown,
    Answer,
    AtNewPlace,
    AtPlace,
    Differs,
    ExtraLight,
    Look,
    NewPlaceDiffers,
    NothingLit,
    NotSure,
    Observation,
    Person,
    Prior,
    Probe,
    Setup,
)
from probe.recheck.engine.result import Doubt, Found, FoundKind, Result

__all__ = [
    "END",
    "NEW",
    "UNLIT",
    "Action",
    "AllAsShown",
    "Answer",
    "AtNewPlace",
    "AtPlace",
    "Differs",
    "Doubt",
    "ExtraLight",
    "Found",
    "FoundKind",
    "Locate",
    "Look",
    "NewPlaceDiffers",
    "NotSure",
    "NothingLit",
    "Observation",
    "Options",
    "Person",
    "Prior",
    "Probe",
    "Recheck",
    "RecheckStep",
    "Result",
    "Setup",
    "complement_code",
    "frame_code",
    "look_code",
]
