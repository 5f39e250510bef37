"""Commands that write a map in another format, or read one."""

from __future__ import annotations

from pathlib import Path

from probe.cli.outcome import Exit, complain, say, say_document


def export_map(path: str, *, to: str, output: str | None) -> int:
    """Write the map in one of the formats, to a file or to standard output."""
    from probe.document.file import load_map, save_copy
    from probe.export import WRITERS

    try:
        text = WRITERS[to](load_map(path))
    except ValueError as exc:
        complain(f"{path}: {exc}")
        return Exit.FILE
    if output is None:
        say_document(text)
        return Exit.FINE
    if Path(output).exists() and Path(output).samefile(path):
        complain(f"{output} is the map itself: choose another file for the export")
        return Exit.USAGE
    save_copy(output, text.encode("utf-8"))
    say(f"Written: {output}.")
    return Exit.FINE


def import_csv(csv: str, *, output: str) -> int:
    """Make a map file from a CSV. Refuses to overwrite."""
    from probe.document.document import Document
    from probe.document.plural import many
    from probe.export import ImportProblem, read_csv

    try:
        map_ = read_csv(Path(csv).read_bytes())
    except ImportProblem as exc:
        complain(f"{csv}: {exc}")
        return Exit.FILE
    document = Document.new(output)
    try:
        document.commit(map_)
        document.save_now()
    finally:
        document.release()
    say(f"Written: {output}, with {many(sum(chain.length for chain in map_.chains), 'pixel')}.")
    return Exit.FINE
