"""A block whose rows are drawn one by one shows what Textual would draw of the whole text."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from textual.app import App, ComposeResult
from textual.content import Content
from textual.geometry import Region, Size
from textual.pilot import Pilot
from textual.strip import Strip
from textual.visual import Visual

from probe.ui.task_screen import ItemList
from probe.ui.widgets.text_block import TextBlock

FIRST = ("one row", "二つ wide", "three")
LATER = (
    Content.styled("bold", "bold").append("  then plain"),
    Content("wide 二つ").stylize("bold $face-key", 0, 4),
    Content("three"),
)


class _Page(App[None]):
    CSS = "TextBlock { width: 30; height: auto; color: $text-muted; } TextBlock.bright { color: $error; }"

    def get_theme_variable_defaults(self) -> dict[str, str]:
        return {"face-key": "#44aaff"}

    def compose(self) -> ComposeResult:
        yield TextBlock(id="block")


def _padded(block: TextBlock, strips: list[Strip]) -> list[Strip]:
    return [strip.extend_cell_length(block.size.width, block.visual_style.rich_style).simplify() for strip in strips]


def _drawn_at_once(block: TextBlock) -> list[Strip]:
    return _padded(block, Visual.to_strips(block, block.visual, *block.size, block.visual_style))


def _drawn_by_row(block: TextBlock) -> list[Strip]:
    return _padded(block, [block.render_line(y) for y in range(block.size.height)])


@asynccontextmanager
async def _put_first() -> AsyncIterator[tuple[Pilot[None], TextBlock]]:
    """A page whose block shows `FIRST`."""
    async with _Page().run_test(size=(40, 10)) as pilot:
        block = pilot.app.query_one(TextBlock)
        block.put(Content("\n".join(FIRST)))
        await pilot.pause()
        yield pilot, block


async def test_rows_put_one_by_one_are_those_of_the_whole_text() -> None:
    async with _put_first() as (_, block):
        for text in (Content("\n").join(LATER), Content("\n".join(FIRST)), Content("\n").join(LATER)):
            block.put(text)
            assert block.size == (30, 3)
            assert _drawn_by_row(block) == _drawn_at_once(block)


async def test_another_colour_and_another_width_reach_rows_that_did_not_change() -> None:
    async with _put_first() as (pilot, block):
        block.put(Content("\n").join(LATER))
        before = _drawn_by_row(block)
        block.add_class("bright")
        await pilot.pause()
        assert _drawn_by_row(block) == _drawn_at_once(block) != before
        block.styles.width = 20
        await pilot.pause()
        assert block.size.width == 20
        assert _drawn_by_row(block) == _drawn_at_once(block)


async def test_a_block_that_grew_is_empty_below_its_rows() -> None:
    async with _put_first() as (pilot, block):
        block.put(Content("\n").join(LATER))
        block.styles.height = 5
        await pilot.pause()
        assert block.size.height == 5
        assert [strip.text.strip() for strip in _drawn_by_row(block)] == [*(row.plain for row in LATER), "", ""]


async def test_a_text_with_more_rows_or_longer_ones_is_wrapped() -> None:
    async with _put_first() as (pilot, block):
        block.put(Content("a row that is longer than thirty cells\ntwo\nthree"))
        await pilot.pause()
        assert block.size.height == 4
        assert [strip.text.strip() for strip in _drawn_by_row(block)][-2:] == ["two", "three"]


@pytest.mark.parametrize("size", [Size(30, 9), Size(30, 1), Size(9, 3), Size(9, 9), Size(60, 3)])
async def test_it_can_be_drawn_at_another_size_before_it_has_heard_of_it(size: Size) -> None:
    async with _Page().run_test(size=(80, 24)) as pilot:
        block = pilot.app.query_one(TextBlock)
        block.put(Content("\n".join(FIRST)))
        await pilot.pause()
        block.put(Content("\n").join(LATER))
        _drawn_by_row(block)
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(TextBlock, "size", size)  # a layout sends `Resize` for later
            block._set_dirty()
            drawn, whole = _drawn_by_row(block), _drawn_at_once(block)
            assert drawn[: len(whole)] == whole
            assert [strip.text.strip() for strip in drawn[len(whole) :]] == [""] * (size.height - len(whole))


async def test_an_exchanged_item_alone_is_drawn_again_and_stands_there() -> None:
    class Page(App[None]):
        CSS = "ItemList { width: 30; height: 8; border: none; }"

        def compose(self) -> ComposeResult:
            yield ItemList()

    async with Page().run_test(size=(40, 10)) as pilot:
        items = pilot.app.query_one(ItemList)
        rows: list[int] = []

        def drawn_with(name: str) -> list[str]:
            items.show([Content("Otter"), Content(name), Content("Urchin")], 0)
            rows.clear()
            lines = [strip.text.strip() for strip in items.render_lines(Region(0, 0, *items.outer_size))]
            return [line for line in lines if line.isalpha()]

        drawn_with("Wreck")
        await pilot.pause()
        by_textual = ItemList.render_line
        with pytest.MonkeyPatch.context() as patched:

            def noted(of: ItemList, y: int) -> Strip:
                rows.append(y)
                return by_textual(of, y)

            patched.setattr(ItemList, "render_line", noted)
            assert drawn_with("Wreck") == ["Otter", "Wreck", "Urchin"]
            assert drawn_with("Anemone") == ["Otter", "Anemone", "Urchin"]
            assert rows == [1]
