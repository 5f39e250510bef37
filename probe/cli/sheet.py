"""The command that writes the sheet for the cabinet."""

from __future__ import annotations

from pathlib import Path

from probe.cli.outcome import Exit, complain, say_document


def write_sheet(path: str, *, output: str | None, picture: str | None, from_below: bool) -> int:
    """Write the sheet as HTML (to standard output without `output`), and the picture as SVG where asked for."""
    from probe.document.file import load_map, save_copy
    from probe.export.sheet import sheet_html
    from probe.export.sheet_picture import picture_svg

    for name in (output, picture):
        if name is not None and Path(name).exists() and Path(name).samefile(path):
            complain(f"{name} is the map itself: choose another file")
            return Exit.USAGE
    if output is not None and picture is not None and Path(output).resolve() == Path(picture).resolve():
        complain(f"{output} cannot be both the sheet and the picture: choose another file for one of them")
        return Exit.USAGE
    map_ = load_map(path)
    if picture is not None:
        save_copy(picture, picture_svg(map_, from_below=from_below).encode("utf-8"))
    if output is not None:
        save_copy(output, sheet_html(map_, from_below=from_below).encode("utf-8"))
    elif picture is None:
        say_document(sheet_html(map_, from_below=from_below))
    return Exit.FINE
