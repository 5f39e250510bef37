"""Boards to check without a port: a Python board whose time is passed by hand."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from device_protocol.board import ProtocolBoard
from probe.boardcheck import (
    ClauseOutcome,
    ClauseResult,
    Dialogue,
    SavedTable,
    TableNotRestoredError,
    TableSafe,
    restore_table,
    run_checks,
    save_table,
)


class BoardTalk:
    """A `Talk` with a Python board; waiting passes its time at once."""

    def __init__(self, board: ProtocolBoard, *, start_ms: float = 0.0) -> None:
        self.board = board
        self._now_ms = start_ms
        self._inbox = bytearray()

    def now_ms(self) -> float:
        return self._now_ms

    def late_ms(self) -> float:
        return 0.0

    async def send(self, data: bytes) -> None:
        self._inbox += self.board.receive_data(data, self._now_ms)

    async def wait(self, ms: float) -> None:
        end = self._now_ms + ms
        while True:
            due = self.board.next_deadline_ms()
            if due is None or due >= end:
                break
            self._now_ms = max(self._now_ms + 0.01, due)
            self._inbox += self.board.tick(self._now_ms)
        self._now_ms = end
        self._inbox += self.board.tick(end)

    async def line(self, within_ms: float) -> bytes | None:
        end = self._now_ms + within_ms
        self._inbox += self.board.tick(self._now_ms)
        while b"\n" not in self._inbox:
            if self._now_ms >= end:
                return None
            await self.wait(min(10.0, end - self._now_ms))
        raw, _, rest = bytes(self._inbox).partition(b"\n")
        self._inbox = bytearray(rest)
        return raw


def keeping_table() -> TableSafe:
    """Keeps the board's table in memory while others are tried."""
    kept: list[SavedTable] = []

    async def begin(dialogue: Dialogue) -> None:
        kept.append(await save_table(dialogue))

    async def end(dialogue: Dialogue) -> None:
        with suppress(TableNotRestoredError):  # of a board that cannot: what failed shows it
            await restore_table(dialogue, kept[0])

    return TableSafe(begin, end)


def checked(board: ProtocolBoard, *only: str, table: bool = False) -> dict[str, ClauseResult]:
    """The results by clause."""

    async def run() -> tuple[ClauseResult, ...]:
        dialogue = Dialogue(BoardTalk(board))
        await dialogue.greet()
        return await run_checks(dialogue, only=only, table=keeping_table() if table else None)

    return {result.clause: result for result in asyncio.run(run())}


def failures(results: dict[str, ClauseResult]) -> dict[str, str]:
    """Clause → what is wrong."""
    return {clause: r.words for clause, r in results.items() if r.outcome is ClauseOutcome.FAILED}
