"""`board-check`: hold a board on a port to the specification, clause by clause."""

from __future__ import annotations

import asyncio
import json
import time
from dataclasses import asdict

from probe.boardcheck import Dialogue, Failure, Outcome, Result, run_checks
from probe.cautions import BOARD_CHECK
from probe.cli.outcome import Exit, complain
from probe.cli.wire_log import WireLog
from probe.document.outside_text import escaped
from probe.link import LinkError, PortSpec
from probe.link.wire import Wire

_SIGNS = {Outcome.PASSED: "ok  ", Outcome.FAILED: "FAIL", Outcome.LACKS: "-   ", Outcome.UNSEEN: "?   "}


class WireTalk:
    """A `Talk` over an open wire, in real time."""

    def __init__(self, wire: Wire, transcript: WireLog | None = None) -> None:
        self._wire = wire
        self._transcript = transcript
        self._inbox = bytearray()

    def now_ms(self) -> float:
        """A steady clock, ms."""
        return time.monotonic() * 1000

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
    wire: Wire, only: tuple[str, ...], *, tell: bool, transcript: WireLog | None = None
) -> tuple[Dialogue, tuple[Result, ...]]:
    """Run the checks over an open wire. Raises LinkError when the line is lost, Failure when no board answers."""
    dialogue = Dialogue(WireTalk(wire, transcript))
    await dialogue.greet()

    def told(result: Result) -> None:
        if tell:
            print(_line(result), flush=True)

    return dialogue, await run_checks(dialogue, only=only, told=told)


def _line(result: Result) -> str:
    words = f"  [{escaped(result.words)}]" if result.words and result.outcome is not Outcome.PASSED else ""
    return f"{_SIGNS[result.outcome]} {result.clause:<5} {result.title}{words}"


def board_check(port: str, *, baud: int, only: tuple[str, ...], as_json: bool, transcript: str | None = None) -> int:
    """Check the board on a port. Exit code 1 if a clause fails, 4 if no board answers."""
    log = WireLog(transcript) if transcript is not None else None
    return asyncio.run(_board_check(port, baud=baud, only=only, as_json=as_json, transcript=log))


async def _board_check(
    port: str, *, baud: int, only: tuple[str, ...], as_json: bool, transcript: WireLog | None
) -> int:
    try:
        wire = await PortSpec(address=port, baud=baud).open()
    except LinkError as exc:
        complain(str(exc))
        return Exit.BOARD
    if not as_json:
        print(BOARD_CHECK)
    try:
        dialogue, results = await check_wire(wire, only, tell=not as_json, transcript=transcript)
        wire.write(dialogue.seal(">FE dark all"))
        await asyncio.sleep(0.2)
    except Failure as exc:
        complain(f"no board that speaks this protocol answers on {port}: {exc}")
        return Exit.BOARD
    except LinkError as exc:
        complain(str(exc))
        return Exit.BOARD
    finally:
        await wire.close()
    counts = {outcome: sum(r.outcome is outcome for r in results) for outcome in Outcome}
    if as_json:
        limits = dialogue.limits
        report = {
            "board": limits.board,
            "build": limits.build,
            "features": sorted(limits.features),
            "counts": {outcome.name.lower(): count for outcome, count in counts.items()},
            "clauses": [asdict(result) for result in results],
        }
        print(json.dumps(report, indent=2, ensure_ascii=True))
    else:
        print(", ".join(f"{count} {outcome.value}" for outcome, count in counts.items()))
    return Exit.FINDINGS if counts[Outcome.FAILED] else Exit.FINE
