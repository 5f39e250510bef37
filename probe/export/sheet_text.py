"""Text and tables for the sheet: everything from outside is cleaned and escaped here, and nowhere else."""

from __future__ import annotations

import html
from collections.abc import Iterable, Sequence

from probe.document.outside_text import spaced

MOST = 200


def clean(text: str, *, most: int = MOST) -> str:
    """Text on one line: what controls, reorders or cannot stand in XML becomes a space; cut after `most` signs."""
    line = " ".join(spaced(text).split())
    return line if len(line) <= most else line[: most - 1] + "…"


def escape(text: str, *, most: int = MOST) -> str:
    """Outside text as HTML, its direction kept to itself."""
    shown = clean(text, most=most)
    return f"<bdi>{html.escape(shown)}</bdi>" if shown else ""


def own(text: str) -> str:
    """Our own words as HTML."""
    return html.escape(text)


def table(heads: Sequence[str], rows: Iterable[Sequence[str]], *, name: str = "") -> str:
    """A table of cells that are HTML already."""
    head = "".join(f"<th>{own(h)}</th>" for h in heads)
    body = "\n".join("<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>" for row in rows)
    kind = f' class="{name}"' if name else ""
    return f"<table{kind}>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>"


def bullets(lines: Iterable[str], *, name: str = "") -> str:
    """A list of items that are HTML already; empty for none."""
    items = "\n".join(f"<li>{line}</li>" for line in lines)
    kind = f' class="{name}"' if name else ""
    return f"<ul{kind}>\n{items}\n</ul>" if items else ""


def section(title: str, *parts: str, name: str = "") -> str:
    """A section with a heading; empty if it holds nothing."""
    inside = "\n".join(part for part in parts if part)
    kind = f' class="{name}"' if name else ""
    return f"<section{kind}>\n<h2>{own(title)}</h2>\n{inside}\n</section>" if inside else ""
