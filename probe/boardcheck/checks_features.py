"""Section 5, second part, and sections 12 to 15: lamp table, game's lamps, patterns, inputs, return wire.

The table in force is never changed: writing is tried only as far as the spare copy.
"""

from __future__ import annotations

import re

from device_protocol.errors import ErrorCode
from probe.boardcheck.checks_orders import few
from probe.boardcheck.dialogue import Dialogue, Failure, number, show
from probe.boardcheck.registry import NotNow, check, not_seen


async def _table(d: Dialogue) -> tuple[int, int, str, int, int]:
    heard = await d.accepted("table")
    if len(heard.fields) != 5 or not re.fullmatch("[0-9A-F]{4}", heard.fields[2]):
        raise Failure(f"`table` is answered with {show(heard.raw)}", clause="5.14")
    revision, length, crc, capacity, staged = heard.fields
    figures = [number(text, clause="5.14") for text in (revision, length, capacity, staged)]
    return figures[0], figures[1], crc, figures[2], figures[3]


@check("5.14", "`table` tells what is held", "table")
async def _held(d: Dialogue) -> None:
    revision, length, crc, capacity, _ = await _table(d)
    if length > capacity:
        raise Failure(f"{length} bytes held, capacity {capacity}")
    if length == 0 and (revision, crc) != (0, "FFFF"):
        raise Failure(f"no table held, but revision {revision} and CRC {crc}")
    if (await d.identify()).table != revision:
        raise Failure(f"`id` says table={d.limits.table}, `table` says {revision}")


@check("5.15", "`write` stages in order", "table")
async def _write(d: Dialogue) -> None:
    before = await _table(d)
    capacity = before[3]
    for text, staged in (("0 0100", "2"), ("0 0100", "2"), ("2 0000", "4"), ("1 00", "2")):
        heard = await d.accepted(f"write {text}")
        if heard.fields != (staged,):
            raise Failure(f"`write {text}` has to give {staged}: {show(heard.raw)}")
    heard = await d.refused("write 9 00", ErrorCode.OUT_OF_STEP)
    if heard.field("staged") != "2":
        raise Failure(f"staged=2 is missing: {show(heard.raw)}")
    await d.refused(f"write {capacity} 00", ErrorCode.BAD_VALUE)
    for bad in ("0", "000", "0g", "aa", "00" * 17):
        await d.refused(f"write 0 {bad}", ErrorCode.BAD_VALUE)
    if (await _table(d))[:4] != before[:4]:
        raise Failure("staging changed the table in force")


@check("5.16", "`read` reads what is held", "table")
async def _read(d: Dialogue) -> None:
    _, length, _, _, _ = await _table(d)
    await d.refused(f"read {length} 1", ErrorCode.BAD_VALUE)
    await d.refused("read 0 0", ErrorCode.BAD_VALUE)
    await d.refused("read 0 65", ErrorCode.BAD_VALUE)
    if length:
        heard = await d.accepted(f"read 0 {min(length, 8)}")
        if len(heard.fields) != 1 or not re.fullmatch("([0-9A-F]{2})+", heard.fields[0]):
            raise Failure(f"`read` is answered with {show(heard.raw)}")


@check("5.17", "`commit` refuses what is not sound", "table")
async def _commit(d: Dialogue) -> None:
    before = await _table(d)
    await d.accepted("write 0 0100000000")
    heard = await d.refused("commit 6 FFFF 1", ErrorCode.INCOMPLETE)
    if heard.field("staged") != "5":
        raise Failure(f"staged=5 is missing: {show(heard.raw)}")
    await d.refused("commit 5 0000 1", ErrorCode.MISMATCH)
    await d.refused("commit 4 0000 1", ErrorCode.BAD_VALUE)
    await d.refused("commit 5 0000 0", ErrorCode.BAD_VALUE)
    await d.refused("commit 5 zzzz 1", ErrorCode.BAD_VALUE)
    if (await _table(d))[:4] != before[:4]:
        raise Failure("a refused `commit` changed the table in force")


not_seen("5.18", "`erase`", "it would lose the table in the board: try it by hand", "table")


@check("5.19", "`play` tells who has the pixels", "play")
async def _play(d: Dialogue) -> None:
    heard = await d.accepted("play")
    if len(heard.fields) != 4 or heard.fields[0] not in ("game", "host"):
        raise Failure(f"`play` is answered with {show(heard.raw)}")
    for text in heard.fields[1:]:
        number(text, clause="5.19")
    await d.accepted("play host")
    await d.refused("play everybody", ErrorCode.BAD_VALUE)
    if (await _table(d))[1] == 0:
        await d.refused("play game", ErrorCode.NOT_IN_TABLE)


@check("5.20", "`lamp` by the table", "play")
async def _lamp(d: Dialogue) -> None:
    await d.refused("lamp 1 256", ErrorCode.BAD_VALUE)
    await d.refused("lamp 1", ErrorCode.ARGUMENT_COUNT)
    if (await _table(d))[1] == 0:
        await d.refused("lamp 1 10", ErrorCode.NOT_IN_TABLE)


@check("5.21", "`group` by the table", "play")
async def _group(d: Dialogue) -> None:
    await d.refused("group 0 256", ErrorCode.BAD_VALUE)
    if (await _table(d))[1] == 0:
        await d.refused("group 0 10", ErrorCode.NOT_IN_TABLE)


@check("5.22", "`run` and its ranges", "setup", "pattern")
async def _pattern(d: Dialogue) -> None:
    await few(d)
    for text in ("all send live 1000 040000 000400", "walk once live 1000 040404", "all turns hold 1000 000000"):
        await d.accepted(f"run 0 {text}")
    for text, code in (
        ("half send live 1000 040404", ErrorCode.BAD_VALUE),
        ("all sometimes live 1000 040404", ErrorCode.BAD_VALUE),
        ("all send never 1000 040404", ErrorCode.BAD_VALUE),
        ("all send live 60001 040404", ErrorCode.BAD_VALUE),
        ("walk send live 1000 040404 040404", ErrorCode.ARGUMENT_COUNT),
        ("all send live 1000", ErrorCode.ARGUMENT_COUNT),
    ):
        await d.refused(f"run 0 {text}", code)
    await d.accepted("dark all")


@check("5.23", "`running` tells the pattern", "setup", "pattern")
async def _running(d: Dialogue) -> None:
    await few(d)
    await d.accepted("run 0 all send live 200 040000 000400")
    heard = await d.accepted("running 0")
    if heard.fields[:4] != ("all", "send", "live", "200") or len(heard.fields) != 5:
        raise Failure(f"`running` is answered with {show(heard.raw)}")
    await d.talk.wait(700)
    later = await d.accepted("running 0")
    if number(later.fields[-1], clause="5.23") < number(heard.fields[-1], clause="5.23") + 2:
        raise Failure("700 ms later fewer than two steps of 200 ms have ended: the pattern does not run")
    await d.accepted("dark 0")
    heard = await d.accepted("running 0")
    if heard.fields != ("none",):
        raise Failure(f"after `dark` it still runs: {show(heard.raw)}")


async def _inputs(d: Dialogue) -> int:
    heard = await d.accepted("inputs 1")
    if len(heard.fields) != 2 or not re.fullmatch("([0-9A-F]{2})+", heard.fields[1]):
        raise Failure(f"`inputs` is answered with {show(heard.raw)}", clause="5.24")
    return number(heard.fields[0], clause="5.24")


@check("5.24", "`inputs` tells which are on", "inputs")
async def _which(d: Dialogue) -> None:
    total = await _inputs(d)
    await d.refused(f"inputs {total + 1}", ErrorCode.BAD_VALUE)
    await d.refused("inputs 0", ErrorCode.BAD_VALUE)


@check("5.25", "`edges` counts", "inputs")
async def _edges(d: Dialogue) -> None:
    total = await _inputs(d)
    heard = await d.accepted("edges 1")
    if len(heard.fields) != min(8, total):
        raise Failure(f"`edges 1` gives {len(heard.fields)} numbers, and has to give {min(8, total)}")
    for text in heard.fields:
        if number(text, clause="5.25") > 65_535:
            raise Failure(f"an edge count of {text}")
    await d.refused(f"edges {total + 1}", ErrorCode.BAD_VALUE)


@check("5.26", "`linger` and its range", "inputs")
async def _linger(d: Dialogue) -> None:
    for text in ("1", "250", "25"):
        heard = await d.accepted(f"linger {text}")
        if heard.fields != (text,):
            raise Failure(f"`linger {text}` is answered with {show(heard.raw)}")
    await d.refused("linger 0", ErrorCode.BAD_VALUE)
    await d.refused("linger 251", ErrorCode.BAD_VALUE)


@check("5.27", "`watch`: a notice at once, then at most ten a second", "inputs")
async def _watch(d: Dialogue) -> None:
    d.notices.clear()
    await d.accepted("watch on")
    begun = d.talk.now_ms()
    while d.talk.now_ms() - begun < 600:
        await d.hear(100)
    told = [n for n in d.notices if n.word == "inputs"]
    await d.accepted("watch off")
    if not told:
        raise Failure("no notice `inputs` came after `watch on`")
    if len(told) > 8:
        raise Failure(f"{len(told)} notices in 600 ms")
    await d.refused("watch maybe", ErrorCode.BAD_VALUE)


@check("5.28", "`count` and its ranges", "count")
async def _count(d: Dialogue) -> None:
    await d.refused(f"count 0 {d.limits.pixels + 1} 1", ErrorCode.TOO_MANY_PIXELS)
    await d.refused("count 0 0 1", ErrorCode.BAD_VALUE)
    await d.refused("count 0 1 9", ErrorCode.BAD_VALUE)
    heard = await d.accepted("count 0 8 2")
    if len(heard.fields) != 3:
        raise Failure(f"`count` is answered with {show(heard.raw)}")
    least, most, _ = (number(text, clause="5.28") for text in heard.fields)
    if least > most or most > 8:
        raise Failure(f"least {least}, most {most} of 8 sent")


@check("7.6", "`inputs` notices have the shape of 5.24", "inputs")
async def _notice(d: Dialogue) -> None:
    told = [n for n in d.heard_notices if n.word == "inputs"]
    if not told:
        raise NotNow("no notice `inputs` came")
    for notice in told:
        if len(notice.fields) != 2 or notice.fields[0] not in ("1", "65", "129", "193"):
            raise Failure(f"the notice is {show(notice.raw)}")


not_seen(
    "7.7", "the game gets the pixels back, and it is told", "write a table, order `dark all`, then be silent", "play"
)
not_seen("12.8", "a power cut leaves a whole table", "cut the power while a table is written, then `table`", "table")
not_seen("13.1", "the game's lamps light by the table", "write a table, then run the game's lamp test", "play")
not_seen(
    "14.2",
    "hold-on bridges the zeros of the lamp supply",
    "the game's lamp test, with `linger` at 1 and at 25",
    "inputs",
)
not_seen("15.1", "the return wire gives the chain's length", "compare `count` with the number of pixels", "count")
