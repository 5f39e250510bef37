"""Runs a parsed command line, and turns every expected trouble into one plain sentence and an exit code."""

from __future__ import annotations

import argparse
import logging
import sys
from collections.abc import Callable, Mapping
from importlib import import_module

from probe.cli.outcome import Exit, complain, nobody_reads, say_document

log = logging.getLogger("probe")


def run(arguments: argparse.Namespace) -> int:
    """Run the command; returns its exit code."""
    from probe.document.file import StorageError

    logging.getLogger().addHandler(logging.NullHandler())  # nothing may write over the screen
    try:
        return int(_dispatch(arguments))
    except StorageError as exc:
        complain(str(exc))
        return Exit.FILE
    except BrokenPipeError:
        # the reader of our output went away: not our trouble, and nothing more can be sent to it
        nobody_reads(sys.stdout.fileno())
        return Exit.FINE
    except OSError as exc:
        complain(f"{exc.filename or 'the system'}: {exc.strerror or exc}")
        return Exit.FILE
    except KeyboardInterrupt:
        return Exit.STOPPED
    except Exception as exc:
        from probe.document.file.trouble import fault_sentence

        log.exception("unexpected")
        complain(fault_sentence(exc))
        return Exit.INTERNAL


_RUNS: Mapping[str, str] = {
    "ports": "listing.show_ports",
    "check": "listing.show_findings",
    "board-check": "board_check.board_check",
    "export": "exchange.export_map",
    "import": "exchange.import_csv",
    "renumber": "revise.renumber_map",
    "undo": "revise.undo_revision",
    "revisions": "revise.list_revisions",
    "diff": "revise.diff_maps",
    "merge": "merging.merge_files",
    "lamps": "lamps.merge_lamp_list",
    "sheet": "sheet.write_sheet",
    "worklist": "evenings.show_worklist",
    "log": "evenings.show_log",
    "photo": "evenings.attach_photo",
    "power": "power.show_power",
    "harness": "power.show_harness",
}
"""What carries a command out: a function of this room, given the map's path first, then every other word of the line under
the name that it has in the grammar."""


def _dispatch(arguments: argparse.Namespace) -> int:
    match arguments.command:
        case "completion":
            import shtab

            from probe.cli.parser import build_parser

            say_document(shtab.complete(build_parser(), shell=arguments.shell) + "\n")
            return Exit.FINE
        case "table":
            from probe.cli.table import table_command

            return table_command(arguments)
        case "plan":
            from probe.cli.plan import plan_command

            return plan_command(arguments)
        case "faults" if arguments.joint is not None:
            from probe.cli.faults import print_sheet

            return print_sheet(arguments)
        case str() as command if command in _RUNS:
            module, _, name = _RUNS[command].partition(".")
            carry_out: Callable[..., int] = getattr(import_module(f"probe.cli.{module}"), name)
            words = {key: value for key, value in vars(arguments).items() if key != "command"}
            first = (words.pop("map"),) if "map" in words else ()
            return carry_out(*first, **words)
        case _:
            from probe.cli.screens import open_program

            return open_program(arguments)
