"""The command line's grammar. Light to import: completion loads nothing else."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping

from probe import VERSION_LINE
from probe.cli.outcome import CommandParser

_EPILOG = """exit codes:
  0    fine
  1    faults, or things to mend, were found
  2    wrong command line
  3    file trouble
  4    port or board trouble
  5    a fault of this program
  6    something could not be saved: where its copy is, or what it is, is on
       the error stream
  130  stopped with Ctrl+C
  128 + n  ended by signal n, with all saved

files beside a map NAME: NAME~ is the one before the last save; .NAME.holder
says which program has it open; .NAME.lock keeps a second program away, stays,
is empty, and may be removed while no program has the map open

a rescue copy, NAME.rescue-TIME.json, goes to the first of these that can be
written: ~/.local/state/playfield-probe (or where XDG_STATE_HOME says; macOS:
~/Library/Application Support/playfield-probe, Windows:
%LOCALAPPDATA%\\playfield-probe), the folder for temporary files, /dev/shm"""


EXPORTS = (
    "csv", "json", "lamps-csv", "pixels-csv", "places-csv", "cuts-csv", "parts-csv", "seats-csv", "shared-map", "c-header",
    "python",
)  # fmt: skip


def build_parser(command: str | None = None) -> argparse.ArgumentParser:
    """The parser of the whole command; with one of `COMMANDS` only that one's, which is all that its line needs."""
    parser = CommandParser(
        prog="playfield-probe",
        description="Map, recheck and prove chains of addressable LEDs under a pinball playfield,\n"
        "one lit pixel at a time. Without a command it opens home: the maps used last,\n"
        "and what they need next.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=VERSION_LINE)
    commands = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name in COMMANDS if command is None else (command,):
        COMMANDS[name](commands)
    return parser


def _command(
    commands: argparse._SubParsersAction[CommandParser], name: str, words: str, epilog: str | None = None
) -> CommandParser:
    """The parser of a command; `words` stand in the list of commands, and as a sentence over its own help."""
    return commands.add_parser(name, help=words, description=f"{words[0].upper()}{words[1:]}.", epilog=epilog)


def _file(parser: argparse.ArgumentParser, name: str = "map", words: str = "map file") -> None:
    argument = parser.add_argument(name, metavar=name.upper(), help=words)
    argument.complete = {"bash": "_shtab_compgen_files", "zsh": "_files", "tcsh": "f"}  # type: ignore[attr-defined]


def _wire_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port",
        metavar="PORT",
        help="serial device, or a socket://, rfc2217://, loop://, simulated:// or replay:// URL",
    )
    parser.add_argument("--baud", type=int, default=115_200, metavar="N", help="speed of the line (default 115200)")
    _transcript_option(parser)


def _transcript_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--transcript",
        metavar="FILE",
        help="write a time-stamped log of the wire to this file (replay://FILE plays it)",
    )


def _json_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--json", dest="as_json", action="store_true", help="as JSON")


def _dry_run_option(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--dry-run", action="store_true", help="show what would be done, write nothing")


def _look_options(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--steady-only", action="store_true", help="nothing blinks or flashes")
    parser.add_argument("--ascii", action="store_true", help="draw with ASCII signs only")


def _demo(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "demo", "try it without hardware: a simulated board under an invented machine")
    parser.add_argument(
        "--complete", action="store_true", help="start with the finished map instead of a half-made one"
    )
    parser.add_argument("--new", action="store_true", help="start with no map: set one up from the first question")
    parser.add_argument(
        "--spliced", action="store_true", help="start with a map that two new pixels have made wrong: try the recheck"
    )
    parser.add_argument("--keep", metavar="FILE", help="keep the demo's map in this file")
    parser.add_argument("--tour", action="store_true", help="show the way round in two minutes")
    _transcript_option(parser)
    _look_options(parser)


def _walk(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "walk", "walk a chain: light pixel after pixel, say what lights")
    _file(parser, words="map file; a new one is set up if it is not there")
    _wire_options(parser)
    parser.add_argument("--paper", action="store_true", help="no board: enter what you have on paper")
    parser.add_argument("--lamps", metavar="FILE", help="lamp list (CSV) whose names are offered")
    _look_options(parser)


def _ports(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "ports", "list serial ports; opens none")
    _json_option(parser)


def _export(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "export", "write a map in another format")
    _file(parser)
    parser.add_argument(
        "--to",
        required=True,
        choices=EXPORTS,
        metavar="FORMAT",
        help="csv and json: the whole map; lamps-csv, pixels-csv, places-csv: tables;"
        " cuts-csv: wires to cut, with labels; parts-csv: what to buy; seats-csv: where to drill; shared-map: a map file"
        " without wiring and notes, for an owner of the same machine; c-header, python: for boards",
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="file to write (default: standard output)")


def _import(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "import", "make a map file from a CSV export")
    _file(parser, "csv", "CSV file, as `export --to csv` writes it")
    parser.add_argument(
        "-o", "--output", metavar="FILE", required=True, help="map file to make; it must not be there yet"
    )


def _check(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "check", "look a map over: names used twice, gaps, counts that do not agree")
    _file(parser)
    _json_option(parser)
    parser.add_argument("--strict", action="store_true", help="exit code 1 for warnings too")


def _power(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(
        commands, "power", "compute the power plan of a map: voltages, currents, fuses, supplies; a hint, not a licence"
    )
    _file(parser)
    _json_option(parser)
    parser.add_argument("--ascii", dest="plain_ascii", action="store_true", help="draw with ASCII signs only")


def _plan(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(
        commands,
        "plan",
        "plan the order of pixels with least wire, where to splice, or whether the wire is long enough",
    )
    _file(parser)
    parser.add_argument("--part", choices=("playfield", "backbox"), help="which part (default: the first there is)")
    parser.add_argument("--chains", type=int, metavar="N", help="how many chains (default: as many as there are)")
    parser.add_argument("--least", action="store_true", help="least wire, even if the chain zigzags between areas")
    parser.add_argument(
        "--effort",
        choices=("quick", "usual", "proof"),
        default="usual",
        help="how long to look: at once, some seconds, or until the best is proved",
    )
    other = parser.add_mutually_exclusive_group()
    other.add_argument(
        "--splice",
        nargs="*",
        metavar="PLACE",
        help="where to splice pixels for these places (none named: all that lack one)",
    )
    other.add_argument("--dead", type=int, metavar="NUMBER", help="what to do about this dead pixel")
    other.add_argument("--slack", action="store_true", help="whether the noted wire is long enough, stretch by stretch")
    other.add_argument("--csv", action="store_true", help="the stretches as a table")
    parser.add_argument(
        "--chain", metavar="NAME", help="which chain, for --splice, --dead and --slack (default: the first)"
    )
    _json_option(parser)


def _harness(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "harness", "print the sheet of joints: which wire to join to which, by function")
    _file(parser)
    _json_option(parser)


def _lamps(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "lamps", "read the game's lamp list into a map, join places to it, or show it")
    _file(parser)
    parser.add_argument("--from", dest="source", metavar="FILE", help="CSV file with the lamp list")
    parser.add_argument(
        "--columns",
        nargs="+",
        default=[],
        metavar="FIELD=HEADING",
        help="which heading holds what, where it is not found by itself: number, name, area, kind, driver, row, column,"
        " insert_colour, group, note",
    )
    parser.add_argument("--replace", action="store_true", help="drop rows of the map that the file does not have")
    parser.add_argument("--join", action="store_true", help="join places to lamps by name, as far as that is sure")
    parser.add_argument("--dry-run", action="store_true", help="only say what would change")


def _table(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "table", "put a map's lamp table into a board, or compare the two")
    _file(parser)
    _wire_options(parser)
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--compare", action="store_true", help="read the board's table and say what differs (default)")
    what.add_argument("--read", action="store_true", help="say what the board's table holds")
    what.add_argument("--write", action="store_true", help="write it, read it back, compare, commit")


def _renumber(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(
        commands,
        "renumber",
        "say what was changed in the wiring; the map is renumbered as a new revision",
        epilog="changes are said as: '3 new after Reef lane 2', 'took out GI 12', 'reversed Reef lane 1 to Reef lane 4',"
        " 'moved Reef lane 1 to Reef lane 3 after GI 4', 'swapped Reef lane 1 and Reef lane 2', 'replaced GI 3'."
        " A place may also be said by its number: #14. 'Backbox: took out #3' names the chain.",
    )
    _file(parser)
    parser.add_argument(
        "--change",
        dest="changes",
        action="append",
        required=True,
        metavar="WORDS",
        help="what was changed; again for each change, in order",
    )
    parser.add_argument("--reason", metavar="WORDS", help="why, for the list of revisions (default: the changes)")
    _dry_run_option(parser)
    _json_option(parser)


def _undo(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "undo", "take the last revision back, as a revision of its own")
    _file(parser)
    parser.add_argument("--redo", action="store_true", help="do again what was undone last")
    _dry_run_option(parser)
    _json_option(parser)


def _revisions(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "revisions", "list the map's revisions, and what is verified since")
    _file(parser)
    _json_option(parser)


def _diff(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "diff", "compare two map files, or two revisions of one; exit code 1 if they differ")
    _file(parser)
    second = parser.add_argument("other", metavar="OTHER", nargs="?", help="a second map file")
    second.complete = {"bash": "_shtab_compgen_files", "zsh": "_files", "tcsh": "f"}  # type: ignore[attr-defined]
    parser.add_argument(
        "--from", dest="older", type=int, metavar="N", help="revision to compare from; 0 is before the first"
    )
    parser.add_argument("--to", dest="newer", type=int, metavar="N", help="revision to compare with (default: now)")
    _json_option(parser)


def _merge(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "merge", "make one map of two people's work on it; both files stay as they are")
    _file(parser, "ours", "map file; the merged map goes on with its revisions")
    _file(parser, "theirs", "map file of the other person")
    parser.add_argument(
        "--base", metavar="FILE", help="the map file that both began from (default: the last revision that both have)"
    )
    parser.add_argument("-o", "--output", metavar="FILE", help="map file to make; it must not be there yet")
    parser.add_argument(
        "--choose",
        dest="chosen",
        action="append",
        default=[],
        metavar="NUMBER=SIDE",
        help="decide a conflict, as 3=ours or 3=theirs; ours or theirs alone decides all the rest"
        " (default: asked in a terminal)",
    )
    _dry_run_option(parser)
    _json_option(parser)


def _recheck(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "recheck", "after a change: find out what every number is now, and prove it")
    _file(parser)
    parser.add_argument(
        "--chain", metavar="CHAIN", help="chain to recheck, by id or name (default: the one walked last)"
    )
    parser.add_argument(
        "--change",
        action="append",
        default=[],
        metavar="WORDS",
        help="what was changed, as `renumber` takes it; again for each change (default: nobody knows)",
    )
    _wire_options(parser)
    _look_options(parser)


def _faults(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "faults", "find a wiring fault: the next best question, with the light for it")
    _file(parser)
    parser.add_argument(
        "--chain", metavar="CHAIN", help="chain to search, by id or name (default: the one walked last)"
    )
    parser.add_argument(
        "--joint", metavar="N", type=int, help="only print the wires of the joint that arrives at pixel N, then stop"
    )
    _wire_options(parser)
    parser.add_argument("--paper", action="store_true", help="no board: answer by eye and meter")
    _look_options(parser)


def _practice(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "practice", "learn to find faults: a simulated board with a planted one")
    parser.add_argument("--seed", metavar="N", type=int, help="the same number plants the same fault")
    parser.add_argument("--words", action="store_true", help="say in words what the lit board shows, too")
    _look_options(parser)


def _sheet(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "sheet", "write the sheet for the cabinet: one HTML file to print")
    _file(parser)
    parser.add_argument("-o", "--output", metavar="FILE", help="HTML file to write (default: standard output)")
    parser.add_argument("--picture", metavar="FILE", help="also write the picture of the playfield as SVG")
    parser.add_argument("--from-below", action="store_true", help="mirror the picture, for work under the playfield")


def _worklist(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "worklist", "print what is left to do, by moment and area; add a line of your own")
    _file(parser)
    parser.add_argument("--add", metavar="WORDS", help="keep this line in the map")
    moments = ("before power", "power on", "game on")
    parser.add_argument("--moment", choices=moments, default=moments[0], help="when the line can be done")
    _json_option(parser)


def _log(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "log", "print what was done each evening, time spent, what was left")
    _file(parser)
    _json_option(parser)


def _photo(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(
        commands, "photo", "attach a photo in the map's folder, by its file name, to a place or joint; or list them"
    )
    _file(parser)
    parser.add_argument("photo", metavar="NAME", nargs="?", help="file name of the photo; it has to lie beside the map")
    parser.add_argument("--place", metavar="PLACE", help="the place it shows")
    parser.add_argument("--joint", dest="pixel", metavar="CHAIN:N", help="the joint that arrives at this pixel")
    parser.add_argument("--caption", metavar="WORDS", default="", help="words under it")
    parser.add_argument("--remove", action="store_true", help="take it off; the file is left as it is")
    _json_option(parser)


def _board_check(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "board-check", "hold any board's firmware to the protocol, clause by clause")
    parser.add_argument("port", metavar="PORT", help="serial device, or a socket://, rfc2217:// or simulated:// URL")
    parser.add_argument("--baud", type=int, default=115_200, metavar="N", help="speed of the line (default 115200)")
    parser.add_argument("--only", action="append", default=[], metavar="CLAUSE", help="this clause only, such as 5.4")
    parser.add_argument(
        "--table",
        metavar="FILE",
        help="try the lamp table too; the one in the board is kept in this new file, and written back at the end",
    )
    parser.add_argument("--restore", metavar="FILE", help="write a table that such a file keeps back; check nothing")
    _transcript_option(parser)
    _json_option(parser)


def _completion(commands: argparse._SubParsersAction[CommandParser]) -> None:
    parser = _command(commands, "completion", "print a completion script for a shell")
    parser.add_argument("shell", choices=("bash", "zsh", "tcsh"), help="the shell you use")


COMMANDS: Mapping[str, Callable[[argparse._SubParsersAction[CommandParser]], None]] = {
    "demo": _demo,
    "walk": _walk,
    "recheck": _recheck,
    "ports": _ports,
    "export": _export,
    "import": _import,
    "check": _check,
    "renumber": _renumber,
    "undo": _undo,
    "revisions": _revisions,
    "diff": _diff,
    "merge": _merge,
    "lamps": _lamps,
    "table": _table,
    "plan": _plan,
    "power": _power,
    "harness": _harness,
    "faults": _faults,
    "practice": _practice,
    "sheet": _sheet,
    "worklist": _worklist,
    "log": _log,
    "photo": _photo,
    "board-check": _board_check,
    "completion": _completion,
}
