"""The command that writes the sheet for the cabinet."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from probe.cli.outcome import Exit, complain, say, say_document

if TYPE_CHECKING:
    from probe.document.model import PlayfieldMap


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
    said = f"the picture is in {picture}" if picture is not None else ""
    if output is None and picture is not None:
        say(f"Written: {said}.")
        return Exit.FINE
    html = sheet_html(map_, from_below=from_below, photos=photos_beside(path, map_))
    if output is not None:
        save_copy(output, html.encode("utf-8"))
        said = f"the sheet is in {output}: print it from any browser" + (f"; {said}" if said else "")
        say(f"Written: {said}.")
    else:
        say_document(html)
    return Exit.FINE


MOST_PHOTO_BYTES = 20_000_000
"""A photo that is larger is named, and not shown: the page would be too slow to print."""


def photos_beside(path: str, map_: PlayfieldMap) -> dict[str, bytes]:
    """Content of the map's photos that lie in its folder, by name. None from elsewhere, also not by a link."""
    folder = Path(path).resolve().parent
    found = {}
    for photo in map_.photos:
        where = (folder / photo.file).resolve()
        try:
            if where.parent == folder and where.is_file() and where.stat().st_size <= MOST_PHOTO_BYTES:
                found[photo.file] = where.read_bytes()
        except OSError:
            continue
    return found
