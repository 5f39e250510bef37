"""Section 5, second part, and sections 12 to 15: lamp table, game's lamps, patterns, inputs, return wire.

The table in force is never changed here: writing is tried only as far as the spare copy. `checks_table` does the rest.
"""

from __future__ import annotations

import re

from device_protocol.errors import ErrorCode
from device_protocol.values import INPUTS
from probe.boardcheck.checks_orders import FEW, expect_shown, few
from probe.boardcheck.dialogue import Dialogue, Failure, number, show
from probe.boardcheck.registry import NotNow, check, not_seen


async def _table(d: Dialogue) -> tuple[int, int, str, int, int]:
    heard = await d.accepted("table")
    if len(heard.fields) != 5 or not re.fullmatch("[0-9A-F]{4}", heard.fields[2]):
        raise Failure(f"`table` is answered with {show(heard.raw)}", clause="5.14")
    revision, length, crc, capacity, staged = heard.fields
    figures = [number(text, clause="5.14") for text in (revision, length, capacity, staged)]
    return figures[0], figures[1], crc, figures[2], figures[3]


@check("5.14", "`table`: what is held", "table")
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


@check("5.19", "`play`: who has the pixels", "play")
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


@check("5.22", "`run`, its ranges, and what ends it, on every output", "setup", "pattern")
async def _pattern(d: Dialogue) -> None:
    for output in d.outputs:
        await few(d, output)
        for text in ("all send live 1000 040000 000400", "walk once live 1000 040404", "all turns hold 1000 000000"):
            await d.accepted(f"run {output} {text}")
        for text, code in (
            ("half send live 1000 040404", ErrorCode.BAD_VALUE),
            ("all sometimes live 1000 040404", ErrorCode.BAD_VALUE),
            ("all send never 1000 040404", ErrorCode.BAD_VALUE),
            ("all send live 60001 040404", ErrorCode.BAD_VALUE),
            ("walk send live 1000 040404 040404", ErrorCode.ARGUMENT_COUNT),
            ("all send live 1000", ErrorCode.ARGUMENT_COUNT),
        ):
            await d.refused(f"run {output} {text}", code)
        if (await d.accepted(f"running {output}")).fields[:3] != ("all", "turns", "hold"):
            raise Failure("a refused `run` changed the pattern")
        for orders in _enders(d, output):
            await d.accepted(f"run {output} walk once live 60000 040404")
            if await d.lit(output) != 1:
                raise Failure(f"step 0 of `walk` has to light one pixel of output {output}")
            for order in orders:
                await d.accepted(order)
            if (await d.accepted(f"running {output}")).fields != ("none",):
                raise Failure(f"`{orders[-1]}` has to end the pattern on output {output}")
    await d.accepted("dark all")


def _enders(d: Dialogue, output: int) -> list[tuple[str, ...]]:
    """Orders that end a pattern on an output."""
    limits = d.limits
    found: list[tuple[str, ...]] = [(f"light {output} 0 040404",), (f"dark {output}",), ("dark all",)]
    if limits.has("range"):
        found.append((f"range {output} 0 1 040404",))
    if limits.has("paint"):
        found.append((f"palette {output} 1 040404", f"paint {output} 0 b{FEW}", f"show {output}"))
    if limits.has("count"):
        found.append((f"count {output} 1 1",))
    if limits.has("play"):
        found.append(("play host",))
    found.append((f"setup {output} {FEW} GRB 300 {limits.ceiling_ma}",))
    return found


@check("5.23", "`running`: the pattern and its steps, on every output", "setup", "pattern")
async def _running(d: Dialogue) -> None:
    for output in d.outputs:
        await few(d, output)
        for words in ("all send", "walk once"):
            colours = "040000 000400" if words.startswith("all") else "040000"
            await d.accepted(f"run {output} {words} live 200 {colours}")
            begun = d.talk.now_ms()
            heard = await d.accepted(f"running {output}")
            if heard.fields[:4] != (*words.split(), "live", "200") or len(heard.fields) != 5:
                raise Failure(f"`running` is answered with {show(heard.raw)}")
            await d.talk.wait(700)
            later = await d.accepted(f"running {output}")
            passed = d.talk.now_ms() - begun
            steps = number(later.fields[-1], clause="5.23")
            if steps < number(heard.fields[-1], clause="5.23") + 2:
                raise Failure("700 ms later fewer than two steps of 200 ms have ended: the pattern does not run")
            if steps > passed / 200 * 1.05 + 1:
                raise Failure(f"{steps} steps of 200 ms ended in {passed:.0f} ms")
        await d.accepted(f"run {output} walk once live 60000 040200")
        await expect_shown(d, output, {0: "040200"}, what="`run walk`")
        await d.accepted(f"run {output} all once live 60000 010203")
        await expect_shown(d, output, dict.fromkeys(range(FEW), "010203"), what="`run all`")
        if await d.lit(output) != FEW:
            raise Failure(f"a step of `all` lights {await d.lit(output)} of {FEW} pixels")
        await d.accepted(f"dark {output}")
        heard = await d.accepted(f"running {output}")
        if heard.fields != ("none",):
            raise Failure(f"after `dark` it still runs: {show(heard.raw)}")


async def _inputs(d: Dialogue) -> int:
    heard = await d.accepted("inputs 1")
    if len(heard.fields) != 2 or not re.fullmatch("([0-9A-F]{2})+", heard.fields[1]):
        raise Failure(f"`inputs` is answered with {show(heard.raw)}", clause="5.24")
    total = number(heard.fields[0], clause="5.24")
    if total not in INPUTS or len(heard.fields[1]) != 2 * -(-min(64, total) // 8):
        raise Failure(f"{total} inputs, 1 to 255 in bytes of 8: {show(heard.raw)}", clause="5.24")
    return total


@check("5.24", "`inputs`: which are on", "inputs")
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
    seen = [n for n in d.notices if n.word == "inputs"]
    await d.accepted("watch off")
    if not seen:
        raise Failure("no notice `inputs` came after `watch on`")
    if len(seen) > 8:
        raise Failure(f"{len(seen)} notices in 600 ms")
    await d.refused("watch maybe", ErrorCode.BAD_VALUE)


@check("5.28", "`count`: its ranges, and dark afterwards", "count")
async def _count(d: Dialogue) -> None:
    for output in d.outputs:
        await d.refused(f"count {output} {d.limits.pixels + 1} 1", ErrorCode.TOO_MANY_PIXELS)
        await d.refused(f"count {output} 0 1", ErrorCode.BAD_VALUE)
        await d.refused(f"count {output} 1 0", ErrorCode.BAD_VALUE)
        await d.refused(f"count {output} 1 9", ErrorCode.BAD_VALUE)
        await d.accepted(f"light {output} 0 080808")
        sent = min(8, d.limits.pixels)
        heard = await d.accepted(f"count {output} {sent} 2")
        if len(heard.fields) != 3:
            raise Failure(f"`count` is answered with {show(heard.raw)}")
        least, most, _ = (number(text, clause="5.28") for text in heard.fields)
        if least > most or most > sent:
            raise Failure(f"least {least}, most {most} of {sent} sent")
        if d.limits.has("setup") and await d.lit(output) != 0:
            raise Failure(f"`count` left something lit on output {output}")
    await d.refused(f"count {d.limits.outputs} 1 1", ErrorCode.NO_SUCH_OUTPUT)


@check("7.6", "`inputs` notices have the shape of 5.24", "inputs")
async def _notice(d: Dialogue) -> None:
    seen = [n for n in d.heard_notices if n.word == "inputs"]
    if not seen:
        raise NotNow("no notice `inputs` came")
    for notice in seen:
        if len(notice.fields) != 2 or notice.fields[0] not in ("1", "65", "129", "193"):
            raise Failure(f"the notice is {show(notice.raw)}")


not_seen(
    "7.7", "a notice when the game has the pixels again", "write a table, order `dark all`, then be silent", "play"
)
for _clause, _title in (
    ("12.2", "a head that breaks the rules is refused"),
    ("12.3", "an output record that breaks the rules is refused"),
    ("12.5", "an entry that breaks the rules is refused"),
    ("12.6", "an entry that names what is not there is refused"),
    ("12.7", "an image that ends early is refused"),
):
    not_seen(_clause, _title, "write such an image and `commit` it: 38 with `at=`", "table")
not_seen("12.8", "a power cut leaves a whole table", "cut the power while a table is written, then `table`", "table")
not_seen("13.1", "the game's lamps light by the table", "write a table, then run the game's lamp test", "play")
for _clause, _title in (
    ("13.2", "what takes the pixels from the game, and what does not"),
    ("13.3", "groups are lit at once, or start dark"),
    ("13.4", "without a table the host has the pixels, dark"),
    ("13.5", "after silence the game has the pixels again"),
    ("13.7", "the picture by the table, under its ceiling"),
):
    not_seen(_clause, _title, "write a table and try it by hand", "play")
not_seen("13.6", "levels rise and fall", "a table with a rise of 1,000 ms and the game's lamp test", "play")
not_seen(
    "14.2",
    "hold-on bridges the zeros of the lamp supply",
    "the game's lamp test, with `linger` at 1 and at 25",
    "inputs",
)
not_seen("15.1", "the return wire gives the chain's length", "compare `count` with the number of pixels", "count")
