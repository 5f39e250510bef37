"""The command that puts a map's lamp table into a board, reads it, or compares the two. No screen."""

from __future__ import annotations

import argparse
import asyncio
from typing import Any

from probe.cli.outcome import Exit, complain, say


def table_command(arguments: argparse.Namespace) -> int:
    """Run the task of the board's table once; exit code 1 if `--compare` finds a difference."""
    from probe.document.file import load_map
    from probe.document.settings import RememberedPort, load_settings

    map_ = load_map(arguments.map)
    address = arguments.port
    if address is None:
        from probe.link import current_address

        known: RememberedPort | None = load_settings().port_for(arguments.map)
        if known is not None:
            address = current_address(known.usb_serial) if known.usb_serial else known.address
    if not address:
        complain("no port is known for this map: say which one with --port (see: playfield-probe ports)")
        return Exit.USAGE
    what = "write" if arguments.write else "read" if arguments.read else "compare"
    return asyncio.run(_with_board(map_, address, arguments, what))


async def _with_board(map_: Any, address: str, arguments: argparse.Namespace, what: str) -> int:
    from probe.cli.wire_log import WireLog
    from probe.document.document import Document
    from probe.game.keys import WriteWhole
    from probe.game.sync import BoardFacts, Sync, SyncStage, make
    from probe.link import BoardLink, LinkError, PortSpec, remembered_key
    from probe.runtime.runtime import Runtime

    transcript = WireLog(arguments.transcript) if arguments.transcript else None
    spec = PortSpec(address=address, key=remembered_key(address), baud=arguments.baud)
    changed = asyncio.Event()
    runtime = Runtime(Document.in_memory(map_), {"board": make}, on_change=changed.set)
    link = BoardLink(spec, on_event=runtime.link_event, transcript=transcript)
    runtime.start()
    runtime.open("board", BoardFacts(hands_off=True))
    runtime.attach(link)

    def state() -> Sync:
        assert runtime.top is not None
        seen: Sync = runtime.seen(runtime.top)
        return seen

    async def until_over() -> Sync:
        while not state().is_over:
            changed.clear()
            await changed.wait()
        return state()

    try:
        try:
            await link.connect()
        except LinkError as exc:
            complain(str(exc))
            return Exit.BOARD
        found = await until_over()
        if what == "write" and found.stage is SyncStage.COMPARED and not found.same:
            runtime.dispatch(WriteWhole())
            found = await until_over()
        return _print_what(found, what)
    finally:
        await runtime.save()  # not dark: the game keeps its lamps
        await link.close()


def _print_what(state: Any, what: str) -> int:
    from probe.document.board_table import duties
    from probe.document.lamp_table import revision_of
    from probe.game.sync import SyncStage, obstacle

    if state.stage is not SyncStage.COMPARED:
        complain(state.message)
        return Exit.BOARD
    held = state.held
    where = f"revision {held.revision}, {held.length} bytes of {held.capacity}" if held.length else "no table"
    say(f"board: {where}")
    if what == "read":
        from device_protocol.lamp_table import TableGroup, TableLamp

        table = state.theirs
        numbers = [(f"lamp {n}", TableLamp(n)) for n in table.lamps()] + [
            (f"group {n}", TableGroup(n)) for n in table.groups()
        ]
        for title, whose in numbers:
            lit = duties(table, whose)
            say(f"{title}: " + " ".join(f"{output}:{pixel}={lit[output, pixel].text}" for output, pixel in sorted(lit)))
        return Exit.FINE
    ours = f"revision {revision_of(state.map)}, {len(state.ours.image)} bytes" if state.ours else state.problem
    say(f"map: {ours}")
    for line in state.differences if held.length else ():
        say(f"  {line}")
    say(state.message)
    if state.same:
        return Exit.FINE
    if what == "write":
        complain(obstacle(state) or state.message)
        return Exit.BOARD
    return Exit.FINDINGS
