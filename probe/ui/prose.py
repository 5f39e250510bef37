"""Help in sentences: what a screen is for and what is asked in this state; the keys come from the commands."""

from __future__ import annotations

from collections.abc import Mapping

from probe.task.task import TaskState
from probe.task.views import View

ABOUT: Mapping[str, str] = {
    "walk": (
        "One pixel is lit after another; say what lights, and the answer is saved before the next one lights. Type the first"
        " letters and take an offer with Enter. Nothing to be seen is an answer too, and so is a light that nothing of can be"
        " seen from above. A wrong answer does no harm: go back and answer again, or undo."
    ),
    "setup": (
        "A new map begins here: the machine, the board's outputs, the order of the colours and how many pixels a chain has."
        " What you do not know is found from what you see. Esc goes one question back and loses nothing."
    ),
    "table": (
        "The whole map as a table, one row for each pixel. Enter lights the marked one. Change a row, or several marked ones at"
        " once; search finds names, areas and chains; findings say what does not agree."
    ),
    "recheck": (
        "After pixels were spliced in or taken out, this finds what every number is now. Say whether the picture lights as the"
        " map says; point to the first row that differs. Where something differs, single pixels are asked for until the map is"
        " right. Every answer is kept: it can be left and gone on with."
    ),
    "find": "One place shines in a few colours one after another: say which you see, and its number is found in a few looks.",
    "revisions": (
        "Every change of the map, the newest first, with its reason. Mark one with Space to compare it with another. Going back"
        " to one is a revision too, so that it can be undone."
    ),
    "plan": (
        "How a chain runs with least wire, where what lacks a pixel is spliced in, and whether the wire is long enough. Pin or"
        " forbid a stretch, and the rest is planned around it; nothing of the map changes until you say so."
    ),
    "power": (
        "Supplies, feeds and wire, with the voltage along the chain as it would be. The plan is a hint: it says what it assumed,"
        " and it cannot see your wiring. Enter changes the marked row; ← and → step it."
    ),
    "harness": "Every joint of the chain and which wire goes to which, by function, with what is refused or to be asked.",
    "power_up": (
        "The first power-up in stages: each reading is judged and kept with its date; while one says stop, nothing that comes"
        " after it is offered."
    ),
    "joint": "One joint: which wire is joined to which. Unplug at the wall before you touch it.",
    "batch": "Batches of pixels and what the colours of their wires mean; makers differ, also within one bag.",
    "faults": (
        "The next best question for a wiring fault, with the light for it. Answer what you see or measure; not sure is an"
        " answer. Heat, smell or ticking at any time is the first row and F3: then switch off and unplug."
    ),
    "picture": (
        "Places at their positions: pick one with the arrows or a click and it lights. Set its position, level and colour; copy"
        " them, compare two places, or change a whole group."
    ),
    "shapes": (
        "The shapes that the playfield is drawn with, here and on the sheet. Pick one with ↑ ↓ or a click, move it, change its"
        " sizes, add one or take it out. Places stay where they are."
    ),
    "evenness": (
        "Walk the general illumination and rate each place and each gap, or type a meter's reading. The result says how even it"
        " is and what would help."
    ),
    "lamps": "The game's lamp list: rows added and changed, and places joined to them, so that the board knows what to light.",
    "lamp": "One row of the lamp list: ↑ and ↓ or Tab move between its fields, Enter keeps it.",
    "pick": "Pick a place: type a part of its name, then Enter.",
    "board": (
        "The table in the board against the one of the map. Writing reads it back and compares; the old one stays whole until"
        " the new one is."
    ),
    "watch": "The game's lamp inputs live. Press one target and Enter gives its number to a place; F2 notes what is not so.",
    "prove": "Each lamp is lit by its number: say whether it is the right one. What is proved stays so until something changes.",
    "worklist": (
        "What is left, by moment and area, from the map and from lines of your own. Tick what is done; a line of your own can"
        " be added and taken out."
    ),
    "restore": "A board died or was replaced: this leads back, step by step, to one that holds the map's table.",
    "log": "The evenings so far: what was done when.",
    "settings": "What can be set, each with what it does. It holds at once and the next time too.",
    "guide": "The guide, page by page.",
}
"""What each task is for, by its name."""


def prose(task: str, state: TaskState | None, view: View | None) -> str:
    """The paragraph for a screen in a state."""
    sentences = [ABOUT[task]] if task in ABOUT else []
    if state is not None and state.unsaved:
        sentences.append("The last change is not on disk yet: Ctrl+R saves again, or elsewhere.")
    if state is not None and not state.board.here and state.board.trouble:
        sentences.append(
            "No board answers now, so nothing is lit: plug it in and it goes on by itself; what needs no light can be done meanwhile."
        )
    elif state is not None and state.board.refused:
        sentences.append(f"The board refused: {state.board.refused}.")
    prompt = getattr(view, "prompt", "").strip()
    if prompt:
        sentences.append(f"Asked now: {prompt}")
    return " ".join(sentences)
