"""The commands of the program itself, the one list of every command, and which keys carry a command out after the settings.

Keys are Textual's names. Nothing here needs Ctrl with punctuation or keys that tmux and terminals keep for themselves.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import cache

from textual.binding import Binding

from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command, Means, MenuGroup

HOME = "home"
"""What is gone on with where no command line has a word for it."""
_IN = Means.IN_MENU
OF_PROGRAM: tuple[Command, ...] = (
    Command("app.leave", Means.BACK, "Back", ev.Leave(), shown=True),
    Command("app.table", Means.TABLE, "Map table", ev.GoOpen("table"), group=MenuGroup.MAP, letter="t"),
    Command("app.revisions", _IN, "Revisions, compare", ev.GoOpen("revisions"), group=MenuGroup.MAP, letter="r"),
    Command("app.worklist", _IN, "Worklist: what is left", ev.GoOpen("worklist"), group=MenuGroup.MAP, letter="l"),
    Command("app.log", _IN, "Log of evenings", ev.GoOpen("log"), group=MenuGroup.MAP, letter="e"),
    Command("app.export", _IN, "Export", se.WriteExport(), group=MenuGroup.MAP, letter="x"),
    Command("app.import", _IN, "Import a map", se.InTheShell(), group=MenuGroup.MAP, letter="i"),
    Command("app.merge", _IN, "Merge two people's work", se.InTheShell(), group=MenuGroup.MAP, letter="m"),
    Command("app.photo", _IN, "Photos beside the map", se.InTheShell(), group=MenuGroup.MAP, letter="h"),
    Command("app.another", _IN, "Another map, or a new one", se.GoOn((HOME,)), group=MenuGroup.MAP, letter="o"),
    Command("app.port", _IN, "Pick the port of the board", se.PickPort(), group=MenuGroup.MAP, letter="b"),
    Command("app.walk", _IN, "Walk a chain", ev.GoOpen("walk"), group=MenuGroup.LIGHT, letter="w"),
    Command("app.find", _IN, "Which number is at this place", ev.GoOpen("find"), group=MenuGroup.LIGHT, letter="n"),
    Command("app.recheck", _IN, "Recheck after a change", ev.GoOpen("recheck"), group=MenuGroup.LIGHT, letter="r"),
    Command("app.picture", _IN, "Places, levels, colours", ev.GoOpen("picture"), group=MenuGroup.LIGHT, letter="p"),
    Command("app.evenness", _IN, "Even out the light", ev.GoOpen("evenness"), group=MenuGroup.LIGHT, letter="e"),
    Command("app.faults", _IN, "Find a fault", ev.GoOpen("faults"), group=MenuGroup.LIGHT, letter="f"),
    Command("app.board_check", _IN, "Check the board's program", se.InTheShell(), group=MenuGroup.LIGHT, letter="k"),
    Command("app.plan", _IN, "Order of pixels, splices, wire", ev.GoOpen("plan"), group=MenuGroup.PLAN, letter="o"),
    Command("app.power", _IN, "Power and feeds", ev.GoOpen("power"), group=MenuGroup.PLAN, letter="p"),
    Command("app.power_up", _IN, "First power-up", ev.GoOpen("power_up"), group=MenuGroup.PLAN, letter="u"),
    Command("app.harness", _IN, "Harness, joints", ev.GoOpen("harness"), group=MenuGroup.PLAN, letter="h"),
    Command("app.shapes", _IN, "Shapes of the playfield", ev.GoOpen("shapes"), group=MenuGroup.PLAN, letter="d"),
    Command("app.sheet", _IN, "Cabinet sheet", se.WriteSheet(), group=MenuGroup.PLAN, letter="s"),
    Command("app.batches", _IN, "Batches of pixels", ev.GoOpen("batch"), group=MenuGroup.PLAN, letter="b"),
    Command("app.bench", _IN, "Bench test of a batch", ev.GoOpen("bench"), group=MenuGroup.PLAN, letter="t"),
    Command("app.lamps", _IN, "Lamp list, join", ev.GoOpen("lamps"), group=MenuGroup.GAME, letter="l"),
    Command("app.lamp_file", _IN, "Read a lamp list", se.InTheShell(), group=MenuGroup.GAME, letter="i"),
    Command("app.board", _IN, "Table into the board", ev.GoOpen("board"), group=MenuGroup.GAME, letter="b"),
    Command("app.watch", _IN, "Watch the game", ev.GoOpen("watch"), group=MenuGroup.GAME, letter="w"),
    Command("app.prove", _IN, "Prove", ev.GoOpen("prove"), group=MenuGroup.GAME, letter="p"),
    Command("app.restore", _IN, "The board died: a new one", ev.GoOpen("restore"), group=MenuGroup.GAME, letter="n"),
    Command("app.menu", Means.MENU, "Menu", se.OpenMenu(), shown=True, group=MenuGroup.PROGRAM, letter="m"),
    Command("app.help", Means.HELP, "Help for this screen", se.Help(), shown=True, group=MenuGroup.PROGRAM, letter="h"),
    Command(
        "app.guide", _IN, "Guide: how each part of the work goes", se.OpenGuide(), group=MenuGroup.PROGRAM, letter="g"
    ),
    Command(
        "app.settings",
        _IN,
        "Settings: colours, drawing, brightness, steady light, bell",
        se.OpenSettings(),
        group=MenuGroup.PROGRAM,
        letter="s",
    ),
    Command(
        "app.practice", _IN, "Practice finding faults", se.GoOn(("practice",)), group=MenuGroup.PROGRAM, letter="p"
    ),
    Command("app.demo", _IN, "The demo", se.GoOn(("demo",)), group=MenuGroup.PROGRAM, letter="d"),
    Command("app.tour", _IN, "Tour: begin it, or its next sentence", se.TourOn(), group=MenuGroup.PROGRAM, letter="t"),
    Command("app.end_tour", _IN, "Tour: end it", se.TourOver(), group=MenuGroup.PROGRAM, letter="e"),
    Command(
        "app.palette",
        Means.PALETTE,
        "Find a command by its name",
        se.OpenPalette(),
        group=MenuGroup.PROGRAM,
        letter="c",
    ),
    Command(
        "app.save_picture",
        _IN,
        "Save this screen as a picture (SVG)",
        se.SaveScreen(),
        group=MenuGroup.PROGRAM,
        letter="v",
    ),
    Command("app.quit", Means.QUIT, "Leave the program", se.Quit(), group=MenuGroup.PROGRAM, letter="q"),
)
"""The program's own, which every screen has."""


IN_THE_SHELL: Mapping[str, str] = {
    "app.import": "in the shell: playfield-probe import CSV -o MAP",
    "app.photo": "in the shell: playfield-probe photo MAP",
    "app.merge": "in the shell: playfield-probe merge",
    "app.board_check": "in the shell: playfield-probe board-check PORT",
    "app.lamp_file": "in the shell: playfield-probe lamps MAP --from FILE",
}
"""What is not done inside, and the command that does it."""

VERBS: Mapping[str, str] = {
    "demo": "app.demo",
    "walk": "app.walk",
    "ports": "app.port",
    "export": "app.export",
    "import": "app.import",
    "check": "table.findings",
    "power": "app.power",
    "harness": "app.harness",
    "lamps": "app.lamps",
    "table": "app.board",
    "renumber": "app.recheck",
    "undo": "walk.undo",
    "revisions": "app.revisions",
    "diff": "app.revisions",
    "merge": "app.merge",
    "recheck": "app.recheck",
    "faults": "app.faults",
    "practice": "app.practice",
    "sheet": "app.sheet",
    "plan": "app.plan",
    "photo": "app.photo",
    "worklist": "app.worklist",
    "log": "app.log",
    "board-check": "app.board_check",
    "completion": "only a shell has a use for it",
}
"""Where each command of the command line is inside, or why it is not."""


@cache
def all_keys() -> tuple[Command, ...]:
    """Every command there is. The first call imports every room's commands: no screen needs more than its own."""
    from probe.evenings.log import COMMANDS as LOG
    from probe.evenings.restore import COMMANDS as RESTORE
    from probe.evenings.worklist import COMMANDS as WORKLIST
    from probe.faults.commands import COMMANDS as FAULTS
    from probe.game.keys import COMMANDS as GAME
    from probe.harness.bench import BENCH
    from probe.harness.planning_keys import BATCH, HARNESS, JOINT, POWER, POWER_UP
    from probe.lighting.even_keys import COMMANDS as EVENNESS
    from probe.lighting.picture_keys import COMMANDS as PICTURE
    from probe.lighting.shapes import COMMANDS as SHAPES
    from probe.mapping.history import COMMANDS as REVISIONS
    from probe.mapping.new_map import COMMANDS as SETUP
    from probe.mapping.table import COMMANDS as TABLE
    from probe.mapping.walk_view import COMMANDS as WALK
    from probe.planning.keys import COMMANDS as PLAN
    from probe.program.guide import COMMANDS as GUIDE
    from probe.program.settings import COMMANDS as SETTINGS
    from probe.recheck.keys import FIND, RECHECK

    rooms = (
        WALK,
        SETUP,
        TABLE,
        RECHECK,
        FIND,
        REVISIONS,
        PLAN,
        POWER,
        POWER_UP,
        BENCH,
        HARNESS,
        JOINT,
        BATCH,
        FAULTS,
        GAME,
        PICTURE,
        SHAPES,
        SETTINGS,
        GUIDE,
        EVENNESS,
        WORKLIST,
        LOG,
        RESTORE,
    )
    return (*OF_PROGRAM, *(row for commands in rooms for row in commands))


NOT_TO_BE_TAKEN = frozenset((*Means.DO.keys, *Means.BACK.keys, *Means.HELP.keys))
"""Keys that settings cannot give to a command: the way on, the way out and help stay where they are."""


def keys_of(row: Command, changed: Mapping[str, str]) -> tuple[str, ...]:
    """The keys of a command, those that the settings add to it first (`{"walk.undo": "ctrl+g"}`)."""
    added = (key.strip() for key in changed.get(row.id, "").split(","))
    return tuple(dict.fromkeys([*(key for key in added if key and key not in NOT_TO_BE_TAKEN), *row.keys]))


def typing_key(key: str) -> bool:
    """Whether the entry line itself uses a key: one that types or moves in it."""
    # "full_stop" begins with an f and is no function key
    function_key = re.fullmatch(r"f\d+", key) is not None
    return not (function_key or key.startswith(("ctrl+", "page", "alt+", "shift+")))


_ALWAYS = frozenset(
    key for means in (Means.DO, Means.BACK, Means.UP, Means.DOWN, Means.NEXT_PANE) for key in means.keys
)


def while_empty(key: str) -> bool:
    """Whether a key acts only while nothing is typed: it types, or moves within the line."""
    return typing_key(key) and key not in _ALWAYS


_NAMES = {
    "pagedown": "PageDown",
    "pageup": "PageUp",
    "right": "→",
    "left": "←",
    "up": "↑",
    "down": "↓",
    "escape": "Esc",
}


def key_name(key: str) -> str:
    """A key as it is printed on a keyboard."""
    if key.startswith(("ctrl+", "shift+", "alt+")):
        held, _, rest = key.partition("+")
        return f"{held.capitalize()}+{key_name(rest)}"
    return _NAMES.get(key, key.upper() if len(key) < 4 and key != "tab" else key.capitalize())


def keys_words(row: Command, changed: Mapping[str, str] | None = None) -> str:
    """The keys of a command as they are printed: `F8  Delete`, or `F5, S` through a picker. Empty if it has none."""
    keys = [key_name(key) for key in keys_of(row, changed or {})]
    if row.in_picker:
        keys.append(f"{key_name(row.means.keys[0])}, {key_name(row.letter)}")
    return "  ".join(keys)


def program_bindings() -> list[Binding]:
    """The bindings of the program itself."""
    return [
        Binding(
            ",".join(row.keys) or f"f{99 + at}",  # no key sends that: a key that the settings add takes its place
            f"program('{row.id}')",
            row.words,
            show=bool(row.shown),
            # a line to type in would cut its text instead; a screen over another would have no help and no way out
            priority=row.means in (Means.HELP, Means.QUIT, Means.MENU),
            id=row.id,
        )
        for at, row in enumerate(OF_PROGRAM)
        if row.means is not Means.PALETTE  # the terminal library binds it
    ]
