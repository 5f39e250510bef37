"""Sections 12 and 13 with a table in the board: only when asked for, since the person's own table gives way meanwhile.

`save_table` reads it before, `restore_table` writes it back after; `registry.run_checks` calls both.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from device_protocol.board.game import Levels, table_picture
from device_protocol.current import current_ua, need_ma
from device_protocol.errors import ErrorCode
from device_protocol.framing import crc16
from device_protocol.lamp_table import BoardLampTable, TableEntry, TableGroup, TableLamp, TableOutput, encode_table
from device_protocol.values import Colour
from probe.boardcheck.dialogue import Dialogue, Failure, number, show
from probe.boardcheck.registry import NotNow, with_table

_CHAIN = 6
"""Pixels of each chain of the tables tried here."""
_GROUP_LIT, _GROUP_DARK = TableGroup(0), TableGroup(1, starts_dark=True)


@dataclass(frozen=True, slots=True)
class SavedTable:
    """The table that was in the board: revision 0 and no bytes for none."""

    revision: int
    image: bytes


class TableNotRestoredError(Exception):
    """The person's table could not be written back; `saved` has it."""

    def __init__(self, saved: SavedTable, why: str) -> None:
        super().__init__(why)
        self.saved = saved


async def save_table(d: Dialogue) -> SavedTable:
    """Read the table in force. Raises Failure when what is read is not what the board says it holds."""
    heard = await d.accepted("table")
    if len(heard.fields) != 5:
        raise Failure(f"`table` is answered with {show(heard.raw)}", clause="5.14")
    revision, length = (number(text, clause="5.14") for text in heard.fields[:2])
    image = b""
    while len(image) < length:
        piece = min(64, length - len(image))
        text = "".join((await d.accepted(f"read {len(image)} {piece}")).fields)
        try:
            data = bytes.fromhex(text)
        except ValueError:
            data = b""
        if len(data) != piece:
            raise Failure(f"`read` of {piece} bytes gives {text!r}", clause="5.16")
        image += data
    if f"{crc16(image):04X}" != heard.fields[2]:
        raise Failure("what `read` gives has another CRC than `table` states", clause="5.14")
    return SavedTable(revision, image)


async def restore_table(d: Dialogue, saved: SavedTable) -> None:
    """Put it back and make sure of it. Raises TableNotRestoredError."""
    try:
        if not saved.revision:
            await d.accepted("erase")
        else:
            await _commit(d, saved.image, saved.revision)
        again = await save_table(d)
    except Failure as failure:
        raise TableNotRestoredError(saved, str(failure)) from failure
    if again != saved:
        raise TableNotRestoredError(saved, "the board now holds another table")


async def _stage(d: Dialogue, image: bytes) -> None:
    for offset in range(0, len(image), 16):
        await d.accepted(f"write {offset} {image[offset : offset + 16].hex().upper()}")


async def _commit(d: Dialogue, image: bytes, revision: int) -> None:
    await _stage(d, image)
    await d.accepted(f"commit {len(image)} {crc16(image):04X} {revision}")


@dataclass(frozen=True, slots=True)
class _Keeps:
    """What a table may name on this board (SPEC 5.19)."""

    lamps: int
    groups: int
    pixels: int
    capacity: int
    plays: bool


async def _keeps(d: Dialogue) -> _Keeps:
    capacity = number((await d.accepted("table")).fields[3], clause="5.14")
    if not d.limits.has("play"):
        return _Keeps(65_535, 64, 4_096, capacity, False)
    fields = (await d.accepted("play")).fields
    if len(fields) != 4:
        raise Failure(f"`play` gives {len(fields)} fields", clause="5.19")
    lamps, groups, pixels = (number(text, clause="5.19") for text in fields[1:])
    return _Keeps(lamps, groups, pixels, capacity, True)


async def _table(d: Dialogue, *, rise_ms: int = 0, ceiling_ma: int | None = None) -> BoardLampTable:
    """A table for this board: lamps 1 to 3 and groups 0 and 1 over its first and last output, dim."""
    keeps = await _keeps(d)
    if min(d.limits.pixels, keeps.pixels) < _CHAIN or keeps.lamps < 3 or keeps.groups < 2:
        raise NotNow("this board keeps fewer than 3 lamps, 2 groups or 6 pixels")
    last = d.limits.outputs - 1
    most = min(d.limits.ceiling_ma, 65_535)
    chains = tuple(
        TableOutput(output, _CHAIN, "GRB", most if ceiling_ma is None else ceiling_ma) for output in sorted({0, last})
    )
    entries = (
        TableEntry(TableLamp(1), 0, 1, Colour(16, 8, 4)),
        TableEntry(TableLamp(2), 0, 2, Colour(16, 8, 4), level=128),
        TableEntry(TableLamp(2), 0, 3, Colour(0, 12, 0), level=128),
        TableEntry(TableLamp(2), last, 0, Colour(12, 0, 0)),
        TableEntry(TableLamp(3), 0, 1, Colour(2, 16, 2)),
        TableEntry(TableLamp(3), 0, 1, Colour(12, 2, 12)),
        TableEntry(_GROUP_LIT, last, 4, Colour(16, 16, 16)),
        TableEntry(_GROUP_DARK, 0, 5, Colour(16, 16, 16)),
    )
    table = BoardLampTable(outputs=chains, entries=entries, rise_ms=rise_ms, fall_ms=0)
    if len(encode_table(table)) > keeps.capacity:
        raise NotNow(f"a table of {len(encode_table(table))} bytes does not fit into this board")
    return table


async def _in_force(
    d: Dialogue, revision: int = 77, *, rise_ms: int = 0, ceiling_ma: int | None = None
) -> BoardLampTable:
    """Chains as the table has them, and the table in force."""
    table = await _table(d, rise_ms=rise_ms, ceiling_ma=ceiling_ma)
    if d.limits.has("setup"):
        for output in d.outputs:
            await d.accepted(f"setup {output} {_CHAIN} GRB 300 {d.limits.ceiling_ma}")
    if d.limits.has("play"):
        await d.accepted("play host")
    await _commit(d, encode_table(table), revision)
    return table


async def _expect(d: Dialogue, table: BoardLampTable, levels: Levels, what: str) -> None:
    """Hold every output against what the table gives at these levels (13.7)."""
    limits = d.limits
    figures = {"idle_ua": limits.idle_ua, "channel_ua": limits.channel_ua}
    for output in d.outputs:
        chain = table.chain(output)
        picture = [Colour(0, 0, 0)] * _CHAIN
        if chain is not None:
            ceiling_ma = min(chain.ceiling_ma, limits.ceiling_ma)
            picture = table_picture(table, chain, levels, count=_CHAIN, ceiling_ma=ceiling_ma, **figures)
        if limits.has("setup"):
            state = await d.state(output)
            wanted = (str(sum(not colour.is_dark for colour in picture)), str(need_ma(picture, **figures)))
            if state[4:] != wanted:
                raise Failure(f"after {what} `state {output}` ends {' '.join(state[4:])}, it has to {' '.join(wanted)}")
        if limits.has("readback"):
            for pixel, colour in enumerate(picture):
                sent = await d.shown(pixel, output)
                if sent != colour.wire("GRB"):
                    raise Failure(
                        f"after {what} pixel {pixel} of output {output} was sent as"
                        f" {sent.hex().upper() if sent else 'none'}, and has to be {colour.wire('GRB').hex().upper()}"
                    )


def _only(whose: TableLamp | TableGroup, level: int) -> Levels:
    return lambda each: level if (type(each), each.number) == (type(whose), whose.number) else 0


def _groups_lit(each: TableLamp | TableGroup) -> int:
    return 255 if each == _GROUP_LIT else 0


async def _who(d: Dialogue) -> str:
    return (await d.accepted("play")).fields[0]


# --- the table in the board ---


@with_table("5.14", "table")
async def _states(d: Dialogue) -> None:
    image = encode_table(await _in_force(d))
    heard = await d.accepted("table")
    wanted = ("77", str(len(image)), f"{crc16(image):04X}")
    if heard.fields[:3] != wanted or heard.fields[4] != "0":
        raise Failure(f"after `commit` `table` has to begin {' '.join(wanted)}, nothing staged: {show(heard.raw)}")
    if (await d.identify()).table != 77:
        raise Failure(f"revision 77 is in force, `id` says table={d.limits.table}")


@with_table("5.15", "table")
async def _staging(d: Dialogue) -> None:
    image = encode_table(await _in_force(d))
    await _stage(d, bytes(range(5, 37)))
    saved = await save_table(d)
    if saved != SavedTable(77, image):
        raise Failure("staging changed the table in force")


@with_table("5.16", "table")
async def _reads(d: Dialogue) -> None:
    image = encode_table(await _in_force(d))
    for offset, count in ((0, 1), (0, min(64, len(image))), (3, 5), (len(image) - 1, 1)):
        heard = await d.accepted(f"read {offset} {count}")
        if heard.fields != (image[offset : offset + count].hex().upper(),):
            raise Failure(f"`read {offset} {count}` is answered with {show(heard.raw)}")
    await d.refused(f"read {len(image)} 1", ErrorCode.BAD_VALUE)
    await d.refused(f"read 0 {len(image) + 1}" if len(image) < 64 else "read 0 65", ErrorCode.BAD_VALUE)


@with_table("5.17", "table")
async def _commits(d: Dialogue) -> None:
    image = encode_table(await _in_force(d))
    crc = f"{crc16(image):04X}"
    await d.accepted("write 0 0102030405")
    heard = await d.accepted(f"commit {len(image)} {crc} 77")
    if heard.fields != ("77",):
        raise Failure(f"the same table again is answered with {show(heard.raw)}")
    if (await d.accepted("table")).fields[4] != "0":
        raise Failure("after `commit` of the table in force something is still staged")
    beyond = b"\x2f\0\0\1\1\1\0"  # an entry more, sound in itself
    await _stage(d, image + beyond)
    await d.refused(f"commit {len(image)} {crc16(image) ^ 1:04X} 78", ErrorCode.MISMATCH)
    heard = await d.refused(f"commit {len(image) + 8} {crc} 78", ErrorCode.INCOMPLETE)
    if heard.field("staged") != str(len(image) + 7):
        raise Failure(f"what was staged did not stay staged after a refused `commit`: {show(heard.raw)}")
    if await save_table(d) != SavedTable(77, image):
        raise Failure("a refused `commit` changed the table in force")
    await d.accepted(f"commit {len(image)} {crc} 79")
    if await save_table(d) != SavedTable(79, image):
        raise Failure("the first bytes of what is staged did not come into force")


@with_table("5.18", "table")
async def _erases(d: Dialogue) -> None:
    await _in_force(d)
    await d.accepted("write 0 01")
    await d.accepted("erase")
    heard = await d.accepted("table")
    if heard.fields[:3] != ("0", "0", "FFFF") or heard.fields[4] != "0":
        raise Failure(f"after `erase` `table` gives {show(heard.raw)}")
    if (await d.identify()).table != 0:
        raise Failure(f"after `erase` `id` says table={d.limits.table}")
    await d.refused("read 0 1", ErrorCode.BAD_VALUE)
    await d.refused("erase 1", ErrorCode.ARGUMENT_COUNT)


# --- images that break a rule ---


async def _bad(d: Dialogue, cases: list[tuple[bytes, int, str]]) -> None:
    """Images with the offset of the record that is wrong, and what is wrong with it."""
    for image, at, what in cases:
        await _stage(d, image)
        heard = await d.order(f"commit {len(image)} {crc16(image):04X} 90")
        if heard.code != ErrorCode.BAD_TABLE:
            raise Failure(f"a table with {what} has to be refused with 38 bad-table: {show(heard.raw)}")
        if heard.field("at") != str(at):
            raise Failure(f"a table with {what} breaks the rules at={at}: {show(heard.raw)}")


def _chain_record(
    *, first: int = 0x30, order: int = 0x21, count: int = 6, ceiling: int = 100, latch: int = 75
) -> bytes:
    return bytes((first, order, *count.to_bytes(2, "big"), *ceiling.to_bytes(2, "big"), latch))


def _image(*chains: bytes, entries: bytes = b"", colours: int = 0) -> bytes:
    return bytes((1, len(chains), colours, 0, 0)) + b"".join(chains) + bytes(4 * colours) + entries


@with_table("12.2", "table")
async def _heads(d: Dialogue) -> None:
    await _bad(
        d,
        [
            (bytes((2, 0, 0, 0, 0)), 0, "format 2"),
            (bytes((0, 0, 0, 0, 0)), 0, "format 0"),
            (bytes((1, 17, 0, 0, 0)) + bytes(7 * 17), 0, "17 output records"),
            (bytes((1, 0, 16, 0, 0)) + bytes(64), 0, "16 colour records"),
        ],
    )


@with_table("12.3", "table")
async def _chains(d: Dialogue) -> None:
    limits = d.limits
    cases = [
        (_image(_chain_record(first=0x20)), 5, "pixels of two colours"),
        (_image(_chain_record(first=0x50)), 5, "pixels of five colours"),
        (_image(_chain_record(order=0x20)), 5, "a byte order that names a colour twice"),
        (_image(_chain_record(order=0xE1)), 5, "unused bits of a byte order set"),
        (_image(_chain_record(count=0)), 5, "a count of 0"),
        (_image(_chain_record(ceiling=0)), 5, "a ceiling of 0"),
        (_image(_chain_record(latch=69)), 5, "a latch time of 276 us"),
        (_image(_chain_record(latch=251)), 5, "a latch time of 1,004 us"),
        (_image(_chain_record(), _chain_record()), 12, "two records of one output"),
        (_image(_chain_record())[:-1], 5, "an output record cut short"),
    ]
    if limits.outputs < 16:
        cases.append((_image(_chain_record(first=0x30 + limits.outputs)), 5, "an output that the board has not"))
    if limits.pixels < 65_535:
        cases.append((_image(_chain_record(count=limits.pixels + 1)), 5, "a count above `pixels`"))
    await _bad(d, cases)


@with_table("12.5", "table")
async def _entries(d: Dialogue) -> None:
    chain = _chain_record()
    await _bad(
        d,
        [
            (_image(chain, entries=bytes((0x0F, 1, 1, 1, 0))), 12, "a first entry of no lamp"),
            (_image(chain, entries=bytes((0xCF, 0x40, 1, 1, 1, 0))), 12, "bit 6 of a group set"),
            (_image(chain, entries=bytes((0x40,))), 12, "a colour record that does not exist"),
            (_image(chain, entries=bytes((0x41,)), colours=1), 16, "a colour record beyond the last"),
        ],
    )


@with_table("12.6", "table")
async def _names(d: Dialogue) -> None:
    keeps = await _keeps(d)
    chain = _chain_record()
    colour = bytes((1, 1, 1, 0))
    cases = [
        (_image(entries=b"\x4f" + colour), 5, "a pixel on an output without a record"),
        (_image(chain, entries=b"\x6f" + (6).to_bytes(2, "big") + colour), 12, "a pixel that the chain has not"),
        (_image(chain, entries=b"\x6f" + (4096 + 1).to_bytes(2, "big") + colour), 12, "an output without a record"),
    ]
    if keeps.plays and keeps.lamps < 65_535:
        cases.append(
            (_image(chain, entries=b"\x8f" + (keeps.lamps + 1).to_bytes(2, "big") + colour), 12, "a lamp too high")
        )
    if keeps.plays and keeps.groups < 64:
        cases.append((_image(chain, entries=bytes((0xCF, keeps.groups)) + colour), 12, "a group too high"))
    if keeps.plays and keeps.pixels < min(d.limits.pixels, 4_096):
        long = _chain_record(count=d.limits.pixels)
        entry = b"\x6f" + keeps.pixels.to_bytes(2, "big") + colour
        cases.append((_image(long, entries=entry), 12, "a pixel beyond what the game can light"))
    await _bad(d, cases)


@with_table("12.7", "table")
async def _ends(d: Dialogue) -> None:
    chain = _chain_record()
    await _bad(
        d,
        [
            (_image(chain, entries=bytes((0x4F, 1, 1, 1))), 12, "an entry that ends within its colour"),
            (_image(chain, entries=bytes((0x80, 0))), 12, "an entry that ends within its lamp"),
            (_image(chain, entries=bytes((0x4F, 1, 1, 1, 0, 0xC0))), 17, "a second entry that ends early"),
        ],
    )


# --- the game's pixels ---


@with_table("5.19", "play")
async def _plays(d: Dialogue) -> None:
    table = await _in_force(d)
    for player in ("game", "host"):
        heard = await d.accepted(f"play {player}")
        if heard.fields[0] != player or await _who(d) != player:
            raise Failure(f"after `play {player}` the {await _who(d)} has the pixels")
        await d.talk.wait(100)
    await _expect(d, table, lambda _: 0, "`play host`")


@with_table("5.20", "play")
async def _lamps(d: Dialogue) -> None:
    table = await _in_force(d)
    for lamp in (1, 2, 3):
        for level in (255, 100, 0):
            heard = await d.accepted(f"lamp {lamp} {level}")
            entries = len(table.of(TableLamp(lamp)))
            if heard.fields != (str(entries),):
                raise Failure(f"lamp {lamp} has {entries} entries: {show(heard.raw)}")
            await _expect(d, table, _only(TableLamp(lamp), level), f"`lamp {lamp} {level}`")
    for absent in (0, 4, 65_535, 999_999_999):
        await d.refused(f"lamp {absent} 10", ErrorCode.NOT_IN_TABLE)
    await _expect(d, table, lambda _: 0, "a refused `lamp`")
    if d.limits.has("setup"):
        await d.accepted("lamp 2 255")
        state = await d.state(0)
        if state[:4] != (str(_CHAIN), "GRB", "300", str(d.limits.ceiling_ma)):
            raise Failure("`lamp` changed the settings of an output", clause="5.8")


@with_table("5.21", "play")
async def _groups(d: Dialogue) -> None:
    table = await _in_force(d)
    for group in (_GROUP_LIT, _GROUP_DARK):
        for level in (255, 90):
            heard = await d.accepted(f"group {group.number} {level}")
            if heard.fields != (str(len(table.of(group))),):
                raise Failure(f"`group {group.number}` is answered with {show(heard.raw)}")
            await _expect(d, table, _only(group, level), f"`group {group.number} {level}`")
    await d.refused("group 2 10", ErrorCode.NOT_IN_TABLE)
    await d.refused("group 999 10", ErrorCode.NOT_IN_TABLE)


def _takers(d: Dialogue) -> list[tuple[str, ...]]:
    """Orders that take the pixels for the host (13.2)."""
    has = d.limits.has
    last = d.limits.outputs - 1
    found: list[tuple[str, ...]] = [
        (f"light {last} 1 040404",),
        (f"dark {last}",),
        ("dark all",),
        ("play host",),
        ("lamp 1 40",),
        ("group 1 40",),
    ]
    if has("range"):
        found.append((f"range {last} 1 2 040404",))
    if has("setup"):
        found.append((f"setup {last} {_CHAIN} GRB 300 {d.limits.ceiling_ma}",))
    if has("paint"):
        found += [(f"palette {last} 1 040404",), (f"paint {last} 0 b{_CHAIN}",)]
    if has("pattern"):
        found.append((f"run {last} walk once live 60000 040404",))
    if has("count"):
        found.append((f"count {last} 2 1",))
    return found


@with_table("13.2", "play")
async def _takes(d: Dialogue) -> None:
    await _in_force(d)
    for orders in _takers(d):
        await d.accepted("play game")
        await d.talk.wait(100)
        for text in ("alive", "table", "id", *(("state 0",) if d.limits.has("setup") else ())):
            await d.accepted(text)
        await d.refused("light 0 999999999 040404", ErrorCode.NO_SUCH_PIXEL)
        if await _who(d) != "game":
            raise Failure("an order that is refused, or lights nothing, took the pixels from the game")
        for text in orders:
            await d.accepted(text)
        if await _who(d) != "host":
            raise Failure(f"`{orders[-1]}` has to take the pixels from the game")
        if d.limits.outputs > 1 and orders[0].split()[0] not in ("lamp", "group") and d.limits.has("setup"):
            await d.accepted("group 0 255")  # lit by the table on the last output
            await d.accepted("light 0 0 040404")
            if await d.lit(d.limits.outputs - 1) != 0:
                raise Failure("what the table lit has to go dark when the host lights something else")


@with_table("13.3", "play")
async def _at_once(d: Dialogue) -> None:
    # at once, whatever the rise
    table = await _in_force(d, rise_ms=1_020)
    await d.accepted("play game")
    await d.talk.wait(150)
    try:
        await _expect(d, table, _groups_lit, "`play game`, with a group that starts lit and one that starts dark,")
    except Failure as failure:
        await _inputs_off(d)
        raise failure from None


async def _inputs_off(d: Dialogue) -> None:
    """Raise NotNow when one of the first lamps is on by its input just now."""
    if d.limits.has("inputs"):
        bits = (await d.accepted("inputs 1")).fields[1]
        if int(bits[:2], 16) & 0x07:
            raise NotNow("lamp inputs 1 to 3 are on just now: switch the game off and run the check again")


@with_table("13.4", "play")
async def _loses(d: Dialogue) -> None:
    table = await _in_force(d)
    await d.accepted("play game")
    await d.talk.wait(100)
    await d.accepted("erase")
    if await _who(d) != "host":
        raise Failure("after `erase` the game still has the pixels")
    await _expect(d, replace(table, entries=()), lambda _: 0, "`erase`")
    await d.refused("play game", ErrorCode.NOT_IN_TABLE)


@with_table("13.5", "play")
async def _gives_back(d: Dialogue) -> None:
    await _in_force(d)
    has = d.limits.has("silence")
    silence_ms = 500 if has else 5_000
    if has:
        await d.accepted("silence 500")
    try:
        await d.accepted("dark all")
        begun, dark_ms, back_ms = d.talk.now_ms(), 0.0, 0.0
        d.notices.clear()
        while back_ms == 0.0 and d.talk.now_ms() - begun < silence_ms * 1.2 + 1_600:
            heard = await d.hear(100)
            if heard is not None and heard.word == "dark":
                dark_ms = d.talk.now_ms()
            if heard is not None and heard.word == "play":
                back_ms = d.talk.now_ms()
                if heard.fields != ("game",):
                    raise Failure(f"the notice is {show(heard.raw)}, and has to be `play game`", clause="7.7")
        if not dark_ms or not back_ms:
            raise Failure("after the silence the notices `dark silence` and, 1,000 ms later, `play game` have to come")
        if not back_ms - dark_ms >= 900:
            raise Failure(f"the game had the pixels again {back_ms - dark_ms:.0f} ms after the board went dark")
        if await _who(d) != "game":
            raise Failure("the notice says `play game`, and `play` says that the host has the pixels")
        await d.accepted("dark all")
        if has:
            await _order_in_between(d)
    finally:
        if has:
            await d.accepted("silence 5000")


async def _order_in_between(d: Dialogue) -> None:
    """An order within the second keeps the pixels with the host; silence of 5 s keeps the rule from acting again."""
    end = d.talk.now_ms() + 1_200
    while (left := end - d.talk.now_ms()) > 0:
        heard = await d.hear(left)
        if heard is not None and heard.word == "dark":
            break
    await d.accepted("silence 5000")
    d.notices.clear()
    end = d.talk.now_ms() + 1_300
    while (left := end - d.talk.now_ms()) > 0:
        await d.hear(left)
    if any(notice.word == "play" for notice in d.notices) or await _who(d) != "host":
        raise Failure("an order came within 1,000 ms of going dark, and the game took the pixels all the same")


@with_table("13.7", "play")
async def _under_ceiling(d: Dialogue) -> None:
    limits = d.limits
    figures = {"idle_ua": limits.idle_ua, "channel_ua": limits.channel_ua}
    ceiling_ma = -(-current_ua(count=_CHAIN, colour_sum=20, **figures) // 1000)
    if current_ua(count=_CHAIN, colour_sum=48, **figures) <= ceiling_ma * 1000 or ceiling_ma > limits.ceiling_ma:
        raise NotNow("this build's figures leave no room between a dim lamp and a ceiling that dims it")
    table = await _in_force(d, ceiling_ma=ceiling_ma)
    for whose, word in ((TableLamp(1), "lamp 1"), (TableLamp(3), "lamp 3"), (_GROUP_LIT, "group 0")):
        await d.accepted(f"{word} 255")
        await _expect(d, table, _only(whose, 255), f"`{word} 255` under a ceiling of {ceiling_ma} mA")
    if limits.has("setup"):
        roomy = await _in_force(d, revision=78)
        for output in d.outputs:
            await d.accepted(f"setup {output} {_CHAIN} GRB 300 {ceiling_ma}")
        await d.accepted("group 0 255")
        least = BoardLampTable(
            outputs=tuple(replace(chain, ceiling_ma=ceiling_ma) for chain in roomy.outputs), entries=roomy.entries
        )
        await _expect(d, least, _only(_GROUP_LIT, 255), "`group 0 255` under the ceiling of `setup`")
