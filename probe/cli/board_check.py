"""`board-check`: hold a board on a port to the specification, clause by clause."""

from __future__ import annotations

import asyncio
import json
import os
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path

from probe import VERSION_LINE
from probe.boardcheck import (
    CHECKS,
    ClauseOutcome,
    ClauseResult,
    Dialogue,
    Failure,
    SavedTable,
    TableNotRestoredError,
    TableSafe,
    restore_table,
    run_checks,
    save_table,
    verdict,
)
from probe.cautions import BOARD_CHECK
from probe.cli.outcome import Exit, complain, flush, say, say_json
from probe.cli.wire_log import WireLog
from probe.link import LinkError, PortSpec
from probe.link.wire import Wire

_SIGNS = {
    ClauseOutcome.PASSED: "ok  ",
    ClauseOutcome.FAILED: "FAIL",
    ClauseOutcome.LACKS: "-   ",
    ClauseOutcome.UNSEEN: "?   ",
}


_TICK_S = 0.01


class WireTalk:
    """A `Talk` over an open wire, in real time. A ticker measures how late this computer runs what is due."""

    def __init__(self, wire: Wire, transcript: WireLog | None = None) -> None:
        self._wire = wire
        self._transcript = transcript
        self._inbox = bytearray()
        self._late_s = 0.0

    def now_ms(self) -> float:
        """A steady clock, ms."""
        return time.monotonic() * 1000

    def late_ms(self) -> float:
        """For how long in all this computer let things wait that were due; 0 without `measure_lateness`."""
        return self._late_s * 1000

    async def measure_lateness(self) -> None:
        """Runs beside the check until it is cancelled."""
        while True:
            due = time.monotonic() + _TICK_S
            await asyncio.sleep(_TICK_S)
            # a millisecond is what any timer is late
            self._late_s += max(0.0, time.monotonic() - due - 0.001)

    async def send(self, data: bytes) -> None:
        """Put bytes on the line."""
        self._note("out", data)
        self._wire.write(data)

    async def wait(self, ms: float) -> None:
        """Let time pass; what comes meanwhile is kept."""
        end = self.now_ms() + ms
        while (left := end - self.now_ms()) > 0:
            await self._listen(left)

    async def line(self, within_ms: float) -> bytes | None:
        """The next line without its LF."""
        end = self.now_ms() + within_ms
        while b"\n" not in self._inbox:
            left = end - self.now_ms()
            if left <= 0:
                return None
            await self._listen(left)
        raw, _, rest = bytes(self._inbox).partition(b"\n")
        self._inbox = bytearray(rest)
        return raw

    async def _listen(self, ms: float) -> None:
        try:
            async with asyncio.timeout(ms / 1000):
                data = await self._wire.read()
        except TimeoutError:
            return
        self._note("in", data)
        self._inbox += data

    def _note(self, direction: str, data: bytes) -> None:
        if self._transcript is not None:
            self._transcript(time.monotonic(), direction, data)


async def check_wire(
    wire: Wire,
    only: tuple[str, ...],
    *,
    on_result: Callable[[ClauseResult], None] = lambda result: None,
    transcript: WireLog | None = None,
    table: TableSafe | None = None,
) -> tuple[Dialogue, tuple[ClauseResult, ...]]:
    """Run the checks over an open wire, and leave the board dark.

    Raises LinkError when the line is lost, Failure when no board answers, TableNotRestoredError.
    """
    talk = WireTalk(wire, transcript)
    dialogue = Dialogue(talk)
    ticker = asyncio.create_task(talk.measure_lateness())
    try:
        await dialogue.greet()
        results = await run_checks(dialogue, only=only, on_result=on_result, table=table)
        if dialogue.unusable is None:
            wire.write(dialogue.seal(">FE dark all"))
            await asyncio.sleep(0.2)
    finally:
        ticker.cancel()
    return dialogue, results


def _line(result: ClauseResult) -> str:
    words = f"  [{result.words}]" if result.words else ""
    return f"{_SIGNS[result.outcome]} {result.clause:<5} {result.title}{words}"


# --- the person's table ---


def _write_table(path: Path, saved: SavedTable) -> None:
    """A new file with the table. Raises OSError, also when there is such a file already."""
    form = {"revision": saved.revision, "image": saved.image.hex().upper()}
    with path.open("x", encoding="ascii") as file:
        json.dump(form, file)
        file.write("\n")
        file.flush()
        os.fsync(file.fileno())


def _read_table(path: Path) -> SavedTable:
    """The table of such a file. Raises OSError or ValueError."""
    try:
        form = json.loads(path.read_text(encoding="ascii"))
        return SavedTable(int(form["revision"]), bytes.fromhex(form["image"]))
    except (KeyError, TypeError, ValueError, RecursionError) as exc:
        raise ValueError("no table kept by `board-check --table`") from exc


def _table_safe(path: Path) -> TableSafe:
    kept: list[SavedTable] = []

    async def begin(dialogue: Dialogue) -> None:
        saved = await save_table(dialogue)
        await asyncio.to_thread(_write_table, path, saved)
        kept.append(saved)

    async def end(dialogue: Dialogue) -> None:
        try:
            await restore_table(dialogue, kept[0])
        except LinkError as exc:
            raise TableNotRestoredError(kept[0], str(exc)) from exc
        await asyncio.to_thread(path.unlink)

    return TableSafe(begin, end)


def board_check(
    port: str,
    *,
    baud: int,
    only: Sequence[str],
    as_json: bool,
    transcript: str | None = None,
    table: str | None = None,
    restore: str | None = None,
) -> int:
    """Check the board on a port. Exit code 1 if a clause fails, 4 if no board answers.

    `table`: try the lamp table too; the person's own is kept in that new file until it is back in the board. `restore`: only
    write such a file back.
    """
    log = WireLog(transcript) if transcript is not None else None
    if restore is not None:
        return asyncio.run(_restore(port, baud=baud, path=Path(restore), transcript=log))
    if unknown := sorted(set(only) - {check.clause for check in CHECKS}):
        complain(f"no check has the number {', '.join(map(repr, unknown))}; a run without --only lists all")
        return Exit.USAGE
    if table is not None and Path(table).exists():
        complain(
            f"{table} is there already: it may be the only copy of a board's table. Write it back with --restore, or"
            " name another file"
        )
        return Exit.FILE
    safe = _table_safe(Path(table)) if table is not None else None
    return asyncio.run(_board_check(port, baud=baud, only=tuple(only), as_json=as_json, transcript=log, table=safe))


async def _restore(port: str, *, baud: int, path: Path, transcript: WireLog | None) -> int:
    try:
        saved = await asyncio.to_thread(_read_table, path)
    except (OSError, ValueError) as exc:
        complain(f"{path}: {exc}")
        return Exit.FILE
    try:
        wire = await PortSpec(address=port, baud=baud).open()
    except LinkError as exc:
        complain(str(exc))
        return Exit.BOARD
    try:
        dialogue = Dialogue(WireTalk(wire, transcript))
        await dialogue.greet()
        await restore_table(dialogue, saved)
    except (Failure, LinkError, TableNotRestoredError) as exc:
        complain(f"the table of {path} is not in the board: {exc}")
        return Exit.BOARD
    finally:
        await wire.close()
    say(f"The table of {path}, revision {saved.revision}, is in the board again.")
    return Exit.FINE


async def _board_check(
    port: str,
    *,
    baud: int,
    only: tuple[str, ...],
    as_json: bool,
    transcript: WireLog | None,
    table: TableSafe | None,
) -> int:
    try:
        wire = await PortSpec(address=port, baud=baud).open()
    except LinkError as exc:
        complain(str(exc))
        return Exit.BOARD
    if not as_json:
        say(*BOARD_CHECK.split("\n"))

    def on_result(result: ClauseResult) -> None:
        if not as_json:
            say(_line(result))
            flush()

    begun, checked_at = time.monotonic(), datetime.now(UTC).isoformat(timespec="seconds")
    try:
        dialogue, results = await check_wire(wire, only, on_result=on_result, transcript=transcript, table=table)
    except TableNotRestoredError as exc:
        complain(
            f"THE BOARD'S TABLE IS NOT BACK: {exc}. The file named with --table has it: write it back with"
            " `board-check PORT --restore FILE`"
        )
        return Exit.BOARD
    except Failure as exc:
        complain(f"no board that speaks this protocol answers on {port}: {exc}")
        return Exit.BOARD
    except LinkError as exc:
        complain(str(exc))
        return Exit.BOARD
    except OSError as exc:
        complain(f"the board's table cannot be kept in a file, so none was tried: {exc}")
        return Exit.FILE
    finally:
        await wire.close()
    report = verdict(
        dialogue,
        results,
        checked_at=checked_at,
        took_s=time.monotonic() - begun,
        tool=VERSION_LINE,
        with_table=table is not None,
        complete=not only,
    )
    if as_json:
        say_json(report)
    else:
        if dialogue.unusable is not None:
            say("Nothing was lit and nothing else was tried: mend what `id` says in the firmware first.")
        say(report["badge"])
        say(", ".join(f"{count} {outcome.value}" for outcome, count in _counts(results).items()))
    return Exit.FINDINGS if _counts(results)[ClauseOutcome.FAILED] else Exit.FINE


def _counts(results: tuple[ClauseResult, ...]) -> dict[ClauseOutcome, int]:
    return {outcome: sum(r.outcome is outcome for r in results) for outcome in ClauseOutcome}
