"""Runs a parsed command line, and turns every expected trouble into one plain sentence and an exit code."""

from __future__ import annotations

import argparse
import logging
import sys

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


def _dispatch(arguments: argparse.Namespace) -> int:
    match arguments.command:
        case "completion":
            import shtab

            from probe.cli.parser import build_parser

            say_document(shtab.complete(build_parser(), shell=arguments.shell) + "\n")
            return Exit.FINE
        case "ports":
            from probe.cli.listing import show_ports

            return show_ports(as_json=arguments.json)
        case "check":
            from probe.cli.listing import show_findings

            return show_findings(arguments.map, as_json=arguments.json, strict=arguments.strict)
        case "board-check":
            from probe.cli.board_check import board_check

            return board_check(
                arguments.port,
                baud=arguments.baud,
                only=tuple(arguments.only),
                as_json=arguments.json,
                transcript=arguments.transcript,
                table=arguments.table,
                restore=arguments.restore,
            )
        case "export":
            from probe.cli.exchange import export_map

            return export_map(arguments.map, to=arguments.to, output=arguments.output)
        case "renumber":
            from probe.cli.revise import renumber_map

            return renumber_map(
                arguments.map,
                changes=arguments.change,
                reason=arguments.reason,
                dry_run=arguments.dry_run,
                as_json=arguments.json,
            )
        case "undo":
            from probe.cli.revise import undo_revision

            return undo_revision(arguments.map, redo=arguments.redo, dry_run=arguments.dry_run, as_json=arguments.json)
        case "revisions":
            from probe.cli.revise import list_revisions

            return list_revisions(arguments.map, as_json=arguments.json)
        case "diff":
            from probe.cli.revise import diff_maps

            return diff_maps(
                arguments.map,
                arguments.other,
                older=arguments.older,
                newer=arguments.newer,
                as_json=arguments.json,
            )
        case "merge":
            from probe.cli.merging import merge_files

            return merge_files(
                arguments.ours,
                arguments.theirs,
                base=arguments.base,
                output=arguments.output,
                chosen=arguments.choose,
                dry_run=arguments.dry_run,
                as_json=arguments.json,
            )
        case "lamps":
            from probe.cli.lamps import merge_lamp_list

            return merge_lamp_list(
                arguments.map,
                source=arguments.source,
                columns=arguments.columns,
                replace=arguments.replace,
                join=arguments.join,
                dry_run=arguments.dry_run,
            )
        case "table":
            from probe.cli.table import table_command

            return table_command(arguments)
        case "sheet":
            from probe.cli.sheet import write_sheet

            return write_sheet(
                arguments.map, output=arguments.output, picture=arguments.picture, from_below=arguments.from_below
            )
        case "worklist":
            from probe.cli.evenings import show_worklist

            return show_worklist(arguments.map, add=arguments.add, moment=arguments.moment, as_json=arguments.json)
        case "log":
            from probe.cli.evenings import show_log

            return show_log(arguments.map, as_json=arguments.json)
        case "photo":
            from probe.cli.evenings import attach_photo

            return attach_photo(
                arguments.map,
                photo=arguments.photo,
                place=arguments.place,
                pixel=arguments.joint,
                caption=arguments.caption,
                remove=arguments.remove,
                as_json=arguments.json,
            )
        case "import":
            from probe.cli.exchange import import_csv

            return import_csv(arguments.csv, output=arguments.output)
        case "power":
            from probe.cli.power import show_power

            return show_power(arguments.map, as_json=arguments.json, plain_ascii=arguments.ascii)
        case "plan":
            from probe.cli.plan import plan_command

            return plan_command(arguments)
        case "harness":
            from probe.cli.power import show_harness

            return show_harness(arguments.map, as_json=arguments.json)
        case "faults" if arguments.joint is not None:
            from probe.cli.faults import print_sheet

            return print_sheet(arguments)
        case _:
            from probe.cli.screens import open_program

            return open_program(arguments)
