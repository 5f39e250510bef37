"""Sections 2 and 3: lines, orders and replies."""

from __future__ import annotations

from device_protocol.errors import ErrorCode
from probe.boardcheck.dialogue import DIM, Dialogue, Failure, show
from probe.boardcheck.registry import check, not_seen

_FORBIDDEN = (b"\x00", b"\x09", b"\x0d", b"\x1b", b"\x7f", b"\x80", b"\xff")


@check("2.1", "it answers at this speed")
async def _speed(d: Dialogue) -> None:
    await d.accepted("id")


@check("2.2", "bytes outside 0x20 to 0x7E are forbidden; CR before LF is not")
async def _forbidden(d: Dialogue) -> None:
    for byte in _FORBIDDEN:
        await d.damaged(d.seal(b">31 al" + byte + b"ive"), ErrorCode.FORBIDDEN_BYTE)
    heard = await d.order("alive", ending=b"\r\n")
    if not heard.ok:
        raise Failure(f"an order that ends in CR LF is answered with {show(heard.raw)}")


@check("2.3", "an empty line is ignored")
async def _empty(d: Dialogue) -> None:
    for empty in (b"\n", b"\r\n", b"\n\n\n"):
        await d.talk.send(empty)
        try:
            await d.quiet(80, f"the empty line {show(empty)}")
        except Failure as exc:
            raise Failure(str(exc)) from exc
    await d.accepted("alive")


@check("2.4", "lines of the stated length are accepted")
async def _length(d: Dialogue) -> None:
    limit = d.limits.line
    for ending in (b"\n", b"\r\n"):
        body = b">32 alive " + b"A" * (limit - 15)
        line = d.seal(body)[:-1]
        if len(line) != limit:
            raise AssertionError(len(line))
        heard = await d.raw(line + ending, f"a line of {limit} bytes")
        if heard.code != ErrorCode.ARGUMENT_COUNT:
            raise Failure(f"`alive` with an argument, {limit} bytes long, is answered with {show(heard.raw)}")


@check("2.5", "lines of another shape are refused")
async def _shape(d: Dialogue) -> None:
    bodies = (
        b">33  alive",
        b">33 alive ",
        b"> 33 alive",
        b">3 alive",
        b">333 alive",
        b">3g alive",
        b">ab alive",
        b">33 Alive",
        b">33 alivealivealive",
        b">33",
        b"alive",
        b"<33 alive",
        b">33 light 0 *0 000008",
    )
    for body in bodies:
        await d.damaged(d.seal(body), ErrorCode.MALFORMED)
    for line in (b">33 alive\n", b">33 alive*\n", b">33 alive*12\n", b">33 alive*12345\n", b"hello\n", b"??\n"):
        await d.damaged(line, ErrorCode.MALFORMED)
    right = d.seal(b">33 alive").rstrip(b"\n")
    head, crc = right.rsplit(b"*", 1)
    if crc.lower() != crc:
        await d.damaged(head + b"*" + crc.lower() + b"\n", ErrorCode.MALFORMED)


@check("2.6", "a wrong CRC is noticed")
async def _crc(d: Dialogue) -> None:
    right = d.seal(b">34 alive").rstrip(b"\n")
    for at in range(1, len(right) - 5):
        flipped = bytes([right[at] ^ 0x01])
        if not 0x21 <= flipped[0] <= 0x7E or flipped == b"*" or at in (1, 2, 3):
            continue
        wrong = right[:at] + flipped + right[at + 1 :]
        heard = await d.raw(wrong + b"\n", show(wrong))
        if heard.code not in (ErrorCode.CHECKSUM, ErrorCode.MALFORMED):
            raise Failure(f"{show(wrong)} has a wrong CRC; the answer is {show(heard.raw)}")
    wrong = right[:-1] + (b"0" if right[-1:] != b"0" else b"1")
    await d.damaged(wrong + b"\n", ErrorCode.CHECKSUM)
    heard = await d.raw(right + b"\n", show(right))
    if not heard.ok:
        raise Failure(f"{show(right)} has the right CRC; the answer is {show(heard.raw)}")


@check("2.7", "numbers and colours in one way only")
async def _numbers(d: Dialogue) -> None:
    for bad in ("00", "01", "+0", "-0", "-1", "0x0", "1e0", "1.0", "0000000000", "1234567890"):
        await d.refused(f"light {bad} 0 {DIM}", ErrorCode.BAD_VALUE)
        await d.refused(f"light 0 {bad} {DIM}", ErrorCode.BAD_VALUE)
    for bad in ("08080", "0808080", "08080g", "#08080", "0x0808", "aabbcc"[:5] + "c", "0808080808"):
        await d.refused(f"light 0 0 {bad}", ErrorCode.BAD_VALUE)
    if d.limits.has("setup"):
        await d.accepted(f"setup 0 4 GRB 300 {d.limits.ceiling_ma}")
        await d.refused("light 0 0 08080808", ErrorCode.BAD_VALUE)
        await d.accepted("light 0 0 08080800")
        await d.accepted("dark all")


@check("2.8", "an over-long line is answered once")
async def _overlong(d: Dialogue) -> None:
    for extra in (1, 40, 600):
        line = b">35 alive " + b"A" * (d.limits.line + extra - 10)
        heard = await d.raw(line + b"\n", f"a line of {len(line)} bytes")
        if heard.code != ErrorCode.OVERLONG:
            raise Failure(f"a line of {len(line)} bytes is answered with {show(heard.raw)}")
        try:
            await d.quiet(80, "the answer to an over-long line")
        except Failure as exc:
            raise Failure(str(exc)) from exc
    await d.accepted("alive")


@check("3.1", "one reply to each line")
async def _one_reply(d: Dialogue) -> None:
    for text in ("id", "alive", f"light 0 0 {DIM}", "dark 0", "nonsense", "light", "dark all"):
        await d.order(text)
        await d.quiet(60, f"the reply to `{text}`")


not_seen("3.2", "one order in flight", "a rule for hosts")


@check("3.3", "a reply carries the order's SEQ, whatever it is")
async def _seq(d: Dialogue) -> None:
    for seq in (0x00, 0x01, 0x7F, 0xA5, 0xFF, 0xFF, 0x00):
        heard = await d.order("alive", seq=seq)
        if not heard.ok:
            raise Failure(f"`alive` with SEQ {seq:02X} is answered with {show(heard.raw)}")


@check("3.4", "a damaged line is answered without its number")
async def _without_number(d: Dialogue) -> None:
    await d.damaged(b">36 alive*0000\n", ErrorCode.CHECKSUM)
    await d.damaged(b">36 alive\n", ErrorCode.MALFORMED)


@check("3.5", "checks in the stated order")
async def _order_of_checks(d: Dialogue) -> None:
    limits = d.limits
    await d.damaged(b">37 \x01" + b"A" * limits.line + b"\n", ErrorCode.OVERLONG)
    await d.damaged(b">37 al\x01ive*0000\n", ErrorCode.FORBIDDEN_BYTE)
    await d.damaged(b">37  alive*0000\n", ErrorCode.MALFORMED)
    await d.refused("nonsense 1 2 3", ErrorCode.UNKNOWN_ORDER)
    await d.refused("light 99999", ErrorCode.ARGUMENT_COUNT)
    await d.refused(f"light {limits.outputs} x {DIM}", ErrorCode.NO_SUCH_OUTPUT)
    await d.refused(f"light x {limits.pixels} {DIM}", ErrorCode.BAD_VALUE)
    await d.refused(f"light 0 {limits.pixels} zz", ErrorCode.NO_SUCH_PIXEL)


@check("3.6", "asking again is harmless")
async def _again(d: Dialogue) -> None:
    for text in (f"light 0 0 {DIM}", "alive", "dark 0", "dark all"):
        first = await d.order(text, seq=0x41)
        second = await d.order(text, seq=0x41)
        if first.raw != second.raw:
            raise Failure(f"`{text}` asked twice is answered {show(first.raw)}, then {show(second.raw)}")


not_seen("3.7", "the reply comes after the frame", "a logic analyser on data pin and serial line")


@check("3.8", "a board that lost bytes says so, and is never silently wrong")
async def _burst(d: Dialogue) -> None:
    await d.accepted("dark all")
    lines = [d.seal(f">{0x50 + n:02X} dark 0") for n in range(4)]
    await d.talk.send(b"".join(lines))
    heard = 0
    while (got := await d.hear(d.reply_ms())) is not None:
        if got.word:
            continue
        heard += 1
        if not got.ok and got.seq != "--":
            raise Failure(f"four good orders at once: one is answered with {show(got.raw)}")
    if heard == 0:
        raise Failure("four good orders at once: no reply at all")
    await d.talk.send(b"\n")
    while await d.hear(60) is not None:
        pass
    await d.accepted("alive")


@check("3.9", "the reply begins in time")
async def _in_time(d: Dialogue) -> None:
    slow = []
    for _ in range(9):
        heard = await d.accepted("alive")
        taken = d.taken_ms()
        # bytes themselves at 115200 baud, and 30 ms for what lies between: USB, the system
        if taken > 50 + 30 + (len(heard.raw) + 15) * 0.087:
            slow.append(taken)
    # a third of them may wait for this computer or its converter, which no clock here sets apart from the board
    if len(slow) > 3:
        raise Failure(f"{len(slow)} of 9 replies to `alive` took {min(slow):.0f} ms or more")


@check("3.10", "it hears within 5 s after the port opened")
async def _hears(d: Dialogue) -> None:
    await d.accepted("id")
