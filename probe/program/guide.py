"""The guide's pages, read inside: a list of them, then a page that scrolls. A task.

Pages are the Markdown files of `probe/guide`; of Markdown they use headings, paragraphs, lists, tables, code and links.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files

from probe.document.operations import new_map
from probe.task import events as ev
from probe.task import screen as se
from probe.task.command import Command, Means, rows_by_digit
from probe.task.light import AsBelow, Light
from probe.task.task import Next, Opened, Task, TaskState
from probe.task.views import Line, TaskView

ORDER = ("map", "recheck", "tables", "power", "faults", "light", "circuits")
"""The pages in the order of the job; others follow by name."""


@dataclass(frozen=True)
class Page:
    """A page: the name of its file, its heading, and its lines."""

    name: str
    title: str
    lines: tuple[Line, ...]


@cache
def pages() -> tuple[Page, ...]:
    """Every page of the guide, in the order of the job."""
    folder = files("probe").joinpath("guide")
    found = {item.name.removesuffix(".md"): item for item in folder.iterdir() if item.name.endswith(".md")}
    names = sorted(found, key=lambda name: (ORDER.index(name) if name in ORDER else len(ORDER), name))
    return tuple(page_of(name, found[name].read_text(encoding="utf-8")) for name in names)


def page_of(name: str, text: str) -> Page:
    """A page from Markdown. Its first heading is its title."""
    heading = re.match(r"# (.+)", text)
    return Page(name, _plain(heading[1]) if heading else name, tuple(_lines(text)))


def _plain(text: str) -> str:
    """Text without the marks of Markdown: links are their words, emphasis and code are as they read."""
    text = re.sub(r"!\[([^]]*)\]\([^)]*\)", r"", text)
    text = re.sub(r"\[([^]]+)\]\([^)]*\)", r"\1", text)
    return re.sub(r"\*\*|`", "", text).strip()


def _lines(text: str) -> Iterator[Line]:
    paragraph: list[str] = []

    def flushed() -> Iterator[Line]:
        if paragraph:
            words = _plain(" ".join(paragraph))
            paragraph.clear()
            if words:
                yield Line(words, wrap=True)

    fenced = False
    for raw in text.splitlines():
        if raw.startswith("```"):
            yield from flushed()
            fenced = not fenced
        elif fenced:
            yield Line(f" {raw}", "bold" if raw.startswith("$ ") else "dim")
        elif raw.startswith("    ") and not paragraph:
            yield Line(raw[3:], "dim")
        elif not raw.strip():
            yield from flushed()
            yield Line("")
        elif raw.startswith("#"):
            yield from flushed()
            yield Line(_plain(raw.lstrip("#")), "bold")
        elif raw.startswith("|"):
            yield from flushed()
            cells = [_plain(cell) for cell in raw.strip().strip("|").split("|")]
            if not all(set(cell) <= set(":-") for cell in cells):
                yield Line("  " + " · ".join(cell for cell in cells if cell), wrap=True)
        elif re.match(r"[-*] |\d+\. ", raw):
            yield from flushed()
            paragraph.append(raw)
        else:
            paragraph.append(raw.strip())
    yield from flushed()


def _reads(s: GuideState) -> bool:
    return s.page is not None


def _lists(s: GuideState) -> bool:
    return s.page is None


COMMANDS = (
    Command("guide.take", Means.DO, "Read", ev.Take(), shown=True, when=_lists),
    Command("guide.choose.1", Means.DOWN, "Next page, or a few lines on", se.ReadOnOr(ev.Choose(1), 1)),
    Command("guide.choose.-1", Means.UP, "Page before, or a few lines back", se.ReadOnOr(ev.Choose(-1), -1)),
    *rows_by_digit("guide", 9, when=_lists),
    Command("guide.read.1", Means.ONWARD, "Read on", se.ReadOn(1), shown=True, when=_reads),
    Command("guide.read.-1", Means.BEFORE, "Read back", se.ReadOn(-1), when=_reads),
    Command("guide.leave", Means.BACK, "Back", ev.Leave(), shown=True),
)


@dataclass(frozen=True, kw_only=True)
class GuideState(TaskState):
    """Which page is marked, and which is read. `alone`: it was opened to read that page only."""

    chosen: int = 0
    page: str | None = None
    alone: bool = False


class GuideTask(Task[GuideState]):
    """The guide."""

    name = "guide"
    commands = COMMANDS
    own_revision = False

    def step(self, s: GuideState, event: object, now_s: float) -> Next[GuideState] | None:
        """The state after an event, and what is to be done."""
        match event:
            case ev.Choose(by) if s.page is None:
                return replace(s, chosen=(s.chosen + by) % len(pages())), ()
            case ev.TakeRow(row) if s.page is None and row < len(pages()):
                return replace(s, chosen=row, page=pages()[row].name), ()
            case ev.Take() if s.page is None:
                return replace(s, page=pages()[s.chosen].name), ()
            case ev.Leave() if s.page is not None and not s.alone:
                return replace(s, page=None), ()
            case _:
                return None

    def light(self, s: GuideState) -> Light:
        """What is lit stays."""
        return AsBelow()

    def view(self, s: GuideState) -> TaskView:
        """The list, or a page."""
        page = next((page for page in pages() if page.name == s.page), None)
        if page is None:
            return TaskView(
                head="Guide",
                board=s.board.words,
                above=(Line("Which page?", "bold"),),
                items=tuple(Line(f"{n}  {page.title}") for n, page in enumerate(pages(), 1)),
                chosen=s.chosen,
                message=s.message,
                unsaved=s.unsaved,
            )
        return TaskView(
            head=f"Guide · {page.title}",
            board=s.board.words,
            details=page.lines,
            long=True,
            message=s.message,
            unsaved=s.unsaved,
        )


def make(opened: Opened) -> tuple[GuideTask, GuideState]:
    """The list of pages, or the page that the facts name. A map is not needed."""
    state = GuideState(map=opened.map or new_map("No map"))
    names = [page.name for page in pages()]
    if opened.facts in names:
        state = replace(state, page=str(opened.facts), chosen=names.index(str(opened.facts)), alone=True)
    return GuideTask(), state
