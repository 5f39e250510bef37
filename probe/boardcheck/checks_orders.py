"""Section 5, first part, and sections 6 to 8: identify, light, settings, pictures, notices."""

from __future__ import annotations

import itertools

from device_protocol.current import need_ma
from device_protocol.errors import ErrorCode
from device_protocol.orders import FEATURES
from device_protocol.values import DARK
from probe.boardcheck.dialogue import DIM, Dialogue, Failure, show
from probe.boardcheck.registry import NotNow, check, not_seen

_KEYS = (
    "proto",
    "board",
    "build",
    "line",
    "outputs",
    "pixels",
    "ceiling",
    "channel",
    "idle",
    "silence",
    "uptime",
    "cause",
    "table",
    "features",
)
_WORDS_OF = {
    "setup": ("setup 0 4 GRB 300 100", "state 0"),
    "range": ("range 0 0 1 040404",),
    "silence": ("silence 5000",),
    "paint": ("palette 0 1 040404", "paint 0 0 a", "show 0"),
    "table": ("table", "write 0 00", "read 0 1", "commit 5 FFFF 1", "erase"),
    "play": ("play", "lamp 1 0", "group 0 0"),
    "pattern": ("run 0 all send live 1000 040404", "running 0"),
    "inputs": ("inputs 1", "edges 1", "linger 25", "watch off"),
    "count": ("count 0 1 1",),
    "readback": ("readback 0 0",),
}
FEW = 6
_NEW_FEATURES = ("readback",)
"""Those that page 1.1 brought (SPEC 17.5)."""


async def few(d: Dialogue, output: int = 0, order: str = "GRB") -> None:
    """A short dark chain with the build's own ceiling."""
    await d.accepted(f"setup {output} {FEW} {order} 300 {d.limits.ceiling_ma}")


async def expect_shown(d: Dialogue, output: int, wanted: dict[int, str], *, count: int = FEW, what: str) -> None:
    """Hold `readback` of a three-colour chain against colours of pixels, RRGGBB; those not named are dark."""
    if not d.limits.has("readback"):
        return
    for pixel in range(count):
        sent = await d.shown(pixel, output)
        red, green, blue = bytes.fromhex(wanted.get(pixel, "000000"))
        # without `setup` the byte order is the board's own, and a fourth colour may follow
        right = bytes((green, red, blue)) if d.limits.has("setup") else bytes(sorted((red, green, blue)))
        if sent is None or (sent if d.limits.has("setup") else bytes(sorted(sent)[-3:])) != right:
            raise Failure(f"after {what} pixel {pixel} of output {output} was sent as {sent.hex() if sent else 'none'}")


@check("5.1", "`id` has no arguments")
async def _id(d: Dialogue) -> None:
    await d.accepted("id")
    await d.refused("id 0", ErrorCode.ARGUMENT_COUNT)
    await d.refused("sparkle 0", ErrorCode.UNKNOWN_ORDER)
    for feature, texts in _WORDS_OF.items():
        if not d.limits.has(feature):
            # a board of the page before does not know the newest words
            also = (ErrorCode.UNKNOWN_ORDER,) if feature in _NEW_FEATURES else ()
            for text in texts:
                await d.refused(text, ErrorCode.NO_SUCH_FEATURE, *also)


@check("5.2", "a typed `?` is answered")
async def _hand(d: Dialogue) -> None:
    for line in (b"?\n", b"?\r\n"):
        heard = await d.raw(line, "?")
        if not heard.ok or heard.seq != "00" or heard.field("proto") is None:
            raise Failure(f"`?` is answered with {show(heard.raw)}")


@check("5.3", "`id` says what it has to, in order")
async def _identity(d: Dialogue) -> None:
    heard = await d.accepted("id")
    keys = tuple(field.split("=")[0] for field in heard.fields)
    if keys[: len(_KEYS)] != _KEYS:
        raise Failure(f"the fields are {' '.join(keys)}, and have to begin {' '.join(_KEYS)}")
    limits = await d.identify()  # reads it, and refuses what is beyond the ranges of 5.3
    begun = d.talk.now_ms()
    await d.talk.wait(200)
    passed = (await d.identify()).uptime_ms - limits.uptime_ms
    if not (d.talk.now_ms() - begun) * 1.1 + 50 >= passed >= 180 and passed >= -4_000_000_000:
        raise Failure(f"uptime went on by {passed} ms in {d.talk.now_ms() - begun:.0f} ms")


@check("5.4", "`light` reaches the chain's pixels and no others, on every output")
async def _light(d: Dialogue) -> None:
    for output in d.outputs:
        count = d.limits.pixels
        if d.limits.has("setup"):
            count = FEW
            await few(d, output)
        for pixel in (0, count - 1):
            await d.accepted(f"light {output} {pixel} 080402")
            await expect_shown(d, output, {pixel: "080402"}, count=min(count, FEW), what="`light`")
        await d.refused(f"light {output} {count} {DIM}", ErrorCode.NO_SUCH_PIXEL)
        await d.refused(f"light {output} 999999999 {DIM}", ErrorCode.NO_SUCH_PIXEL)
        await d.refused(f"light {output} 0", ErrorCode.ARGUMENT_COUNT)
        if d.limits.has("setup") and await d.lit(output) != 1:
            raise Failure(f"after `light` the number of lit pixels on output {output} is not 1")
    await d.refused(f"light {d.limits.outputs} 0 {DIM}", ErrorCode.NO_SUCH_OUTPUT)
    await d.accepted("dark all")


@check("5.5", "`dark` of one output or all")
async def _dark(d: Dialogue) -> None:
    for output in d.outputs:
        if d.limits.has("setup"):
            await few(d, output)
    for chosen in (*d.outputs, None):
        for output in d.outputs:
            await d.accepted(f"light {output} 0 {DIM}")
        words = "all" if chosen is None else str(chosen)
        await d.accepted(f"dark {words}")
        for output in d.outputs:
            lit = 0 if chosen in (None, output) else 1
            if d.limits.has("setup") and await d.lit(output) != lit:
                raise Failure(f"`dark {words}` left output {output} {'dark' if lit else 'lit'}")
            await expect_shown(d, output, {0: DIM} if lit else {}, count=1, what=f"`dark {words}`")
    if d.limits.has("setup") and d.limits.has("paint"):
        for output in d.outputs:
            await few(d, output)
            for words in (str(output), "all"):
                await d.accepted(f"paint {output} 0 a{FEW}")
                await d.accepted(f"dark {words}")
                heard = await d.refused(f"show {output}", ErrorCode.INCOMPLETE)
                if heard.field("staged") != "0":
                    raise Failure(f"after `dark {words}` something is still staged: {show(heard.raw)}")
    await d.refused("dark", ErrorCode.ARGUMENT_COUNT)
    await d.refused("dark none", ErrorCode.BAD_VALUE)
    await d.refused(f"dark {d.limits.outputs}", ErrorCode.NO_SUCH_OUTPUT)


@check("5.6", "`alive`")
async def _alive(d: Dialogue) -> None:
    heard = await d.accepted("alive")
    if heard.fields:
        raise Failure(f"`alive` is answered with fields: {show(heard.raw)}")
    await d.refused("alive 1", ErrorCode.ARGUMENT_COUNT)


@check("5.7", "`setup` and its ranges, on every output", "setup")
async def _setup(d: Dialogue) -> None:
    for output in d.outputs:
        await _setup_one(d, output)
    for output in d.outputs:
        if (await d.state(output))[0] != str(FEW + output):
            raise Failure(f"setting up another output changed output {output}")
    await d.refused(f"setup {d.limits.outputs} 4 GRB 300 1", ErrorCode.NO_SUCH_OUTPUT)


async def _setup_one(d: Dialogue, output: int) -> None:
    limits = d.limits
    for text in (
        f"{FEW} GRB 300 {limits.ceiling_ma}",
        f"1 BGR 280 {limits.ceiling_ma}",
        f"{limits.pixels} RGBW 1000 1",
    ):
        heard = await d.accepted(f"setup {output} {text}")
        if heard.fields != tuple(text.split()):
            raise Failure(f"`setup {output} {text}` is answered with {show(heard.raw)}")
        if (await d.state(output))[:4] != tuple(text.split()):
            raise Failure(f"after `setup {output} {text}` `state` gives other settings")
    for text, code in (
        (f"0 GRB 300 {limits.ceiling_ma}", ErrorCode.BAD_VALUE),
        (f"{limits.pixels + 1} GRB 300 {limits.ceiling_ma}", ErrorCode.TOO_MANY_PIXELS),
        (f"4 GGB 300 {limits.ceiling_ma}", ErrorCode.BAD_VALUE),
        (f"4 GRBB 300 {limits.ceiling_ma}", ErrorCode.BAD_VALUE),
        (f"4 grb 300 {limits.ceiling_ma}", ErrorCode.BAD_VALUE),
        (f"4 GRB 279 {limits.ceiling_ma}", ErrorCode.BAD_VALUE),
        (f"4 GRB 1001 {limits.ceiling_ma}", ErrorCode.BAD_VALUE),
        ("4 GRB 300 0", ErrorCode.BAD_VALUE),
        ("4 GRB 300", ErrorCode.ARGUMENT_COUNT),
    ):
        await d.refused(f"setup {output} {text}", code)
    await few(d, output)
    await d.accepted(f"light {output} 0 {DIM}")
    await few(d, output)
    if await d.lit(output) != 0:
        raise Failure(f"`setup` left something lit on output {output}")
    if limits.has("paint"):
        await d.accepted(f"palette {output} 1 080808")
        await d.accepted(f"paint {output} 0 b{FEW}")
        await few(d, output)
        heard = await d.order(f"show {output}")
        if heard.code != ErrorCode.INCOMPLETE or heard.field("staged") != "0":
            raise Failure(f"`setup` has to forget what was staged on output {output}: {show(heard.raw)}")
        await d.accepted(f"paint {output} 0 b{FEW}")
        await d.accepted(f"show {output}")
        if await d.lit(output) != 0:
            raise Failure(f"`setup` has to make every palette entry of output {output} dark")
    await d.accepted(f"setup {output} {FEW + output} GRB 300 {limits.ceiling_ma}")


@check("5.8", "`state`: settings, lit pixels and need", "setup")
async def _state(d: Dialogue) -> None:
    limits = d.limits
    for output in d.outputs:
        await d.accepted(f"setup {output} {FEW} BRG 310 {limits.ceiling_ma}")
        await d.accepted(f"light {output} 2 {DIM}")
        state = await d.state(output)
        if state[:5] != (str(FEW), "BRG", "310", str(limits.ceiling_ma), "1"):
            raise Failure(f"`state {output}` gives {' '.join(state)}")
        await d.accepted(f"light {output} 2 000000")
        state = await d.state(output)
        if state[4] != "0":
            raise Failure("a pixel lit in 000000 is counted as lit")
        idle = need_ma([DARK] * FEW, idle_ua=limits.idle_ua, channel_ua=limits.channel_ua)
        if state[5] != str(idle):
            raise Failure(f"{FEW} dark pixels need {idle} mA, `state {output}` gives {state[5]}")
    await d.refused("state all", ErrorCode.BAD_VALUE)
    await d.refused(f"state {limits.outputs}", ErrorCode.NO_SUCH_OUTPUT)


@check("5.9", "`range`, on every output", "range")
async def _range(d: Dialogue) -> None:
    for output in d.outputs:
        if not d.limits.has("setup"):
            await d.accepted(f"range {output} 0 2 040404")
            await expect_shown(d, output, {0: "040404", 1: "040404"}, count=3, what="`range`")
            continue
        await few(d, output)
        await d.accepted(f"range {output} 1 3 080402")
        if await d.lit(output) != 3:
            raise Failure("a range of 3 pixels lights another number")
        await expect_shown(d, output, dict.fromkeys((1, 2, 3), "080402"), what="`range`")
        await d.accepted(f"range {output} 0 {FEW} 040404")
        await d.refused(f"range {output} 0 0 040404", ErrorCode.BAD_VALUE)
        await d.refused(f"range {output} 1 {FEW} 040404", ErrorCode.NO_SUCH_PIXEL)
        await d.refused(f"range {output} {FEW} 1 040404", ErrorCode.NO_SUCH_PIXEL)
        await d.refused(f"range {output} 0 999999999 040404", ErrorCode.NO_SUCH_PIXEL)
    await d.refused(f"range {d.limits.outputs} 0 1 040404", ErrorCode.NO_SUCH_OUTPUT)
    await d.accepted("dark all")


@check("5.10", "`silence` and its range", "silence")
async def _silence(d: Dialogue) -> None:
    for text in ("500", "60000", "5000"):
        heard = await d.accepted(f"silence {text}")
        if heard.fields != (text,):
            raise Failure(f"`silence {text}` is answered with {show(heard.raw)}")
        if (await d.identify()).silence_ms != int(text):
            raise Failure(f"after `silence {text}`, `id` says silence={d.limits.silence_ms}")
    await d.refused("silence 499", ErrorCode.BAD_VALUE)
    await d.refused("silence 60001", ErrorCode.BAD_VALUE)


@check("5.11", "`palette`, on every output", "setup", "paint")
async def _palette(d: Dialogue) -> None:
    for output in d.outputs:
        await few(d, output)
        await d.accepted(f"palette {output} 1 040404")
        await d.accepted(f"palette {output} 12 010000 000100 000001 040404")
        await d.refused(f"palette {output} 0 040404", ErrorCode.BAD_VALUE)
        await d.refused(f"palette {output} 16 040404", ErrorCode.BAD_VALUE)
        await d.refused(f"palette {output} 15 040404 040404", ErrorCode.BAD_VALUE)
        await d.refused(f"palette {output} 1", ErrorCode.ARGUMENT_COUNT)
        await d.refused(f"palette {output} 1 1 2 3 4 5", ErrorCode.ARGUMENT_COUNT)
        await d.refused(f"palette {output} 1 050505 xx", ErrorCode.BAD_VALUE)
        await d.accepted(f"paint {output} 0 bmno{FEW - 3}")
        await d.accepted(f"show {output}")
        last = dict.fromkeys(range(3, FEW), "000001")
        wanted = {0: "040404", 1: "010000", 2: "000100", **last}
        await expect_shown(d, output, wanted, what="`palette`, `paint` and `show`")
        lit = await d.lit(output)
        if lit != FEW:
            raise Failure(f"a picture without a dark pixel shows {lit} of {FEW} as lit")
        await d.accepted(f"paint {output} 0 b{FEW}")
        await d.accepted(f"palette {output} 1 050505")
        if await d.lit(output) != lit:
            raise Failure("`palette` changed what is lit")
        heard = await d.order(f"show {output}")
        if heard.code != ErrorCode.INCOMPLETE:
            raise Failure(f"`palette` has to forget what was staged: {show(heard.raw)}")
    await d.accepted("dark all")


@check("5.12", "`paint` stages, and shows nothing, on every output", "setup", "paint")
async def _paint(d: Dialogue) -> None:
    for output in d.outputs:
        await _paint_one(d, output)


async def _paint_one(d: Dialogue, output: int) -> None:
    await few(d, output)
    await d.accepted(f"palette {output} 1 040404 040000")
    for text, staged in (("0 a2b", "3"), ("0 a2b", "3"), ("3 c", "4"), ("3 cb2", str(FEW)), ("4 b2", str(FEW))):
        heard = await d.accepted(f"paint {output} {text}")
        if heard.fields != (staged,):
            raise Failure(f"`paint {output} {text}` has to give {staged}: {show(heard.raw)}")
    if await d.lit(output) != 0:
        raise Failure("`paint` changed what is lit")
    await d.accepted(f"paint {output} 0 b2")
    heard = await d.refused(f"paint {output} 3 b", ErrorCode.OUT_OF_STEP)
    if heard.field("staged") != "2":
        raise Failure(f"staged=2 is missing: {show(heard.raw)}")
    await d.refused(f"paint {output} 1 b{FEW}", ErrorCode.NO_SUCH_PIXEL)
    await d.refused(f"paint {output} {FEW} b", ErrorCode.NO_SUCH_PIXEL)
    for runs in ("q", "a0", "a1", "b02", "3a", "A2", "a65536"):
        await d.refused(f"paint {output} 0 {runs}", ErrorCode.BAD_VALUE)
    heard = await d.accepted(f"paint {output} 2 c{FEW - 2}")
    if heard.fields != (str(FEW),):
        raise Failure(f"a refused `paint` changed what is staged: {show(heard.raw)}")


@check("5.13", "`show` shows what is complete, on every output", "setup", "paint")
async def _show(d: Dialogue) -> None:
    for output in d.outputs:
        await few(d, output)
        await d.accepted(f"palette {output} 1 040302")
        await d.accepted(f"paint {output} 0 b2")
        heard = await d.refused(f"show {output}", ErrorCode.INCOMPLETE)
        if heard.field("staged") != "2":
            raise Failure(f"staged=2 is missing: {show(heard.raw)}")
        await d.accepted(f"paint {output} 2 a{FEW - 4}b2")
        for _ in range(2):
            await d.accepted(f"show {output}")
            if await d.lit(output) != 4:
                raise Failure("`show` lights another number of pixels than was staged")
            await expect_shown(d, output, dict.fromkeys((0, 1, FEW - 2, FEW - 1), "040302"), what="`show`")
        await d.accepted(f"dark {output}")
        await d.refused(f"show {output}", ErrorCode.INCOMPLETE)


@check("5.29", "`readback` gives what went out", "readback")
async def _readback(d: Dialogue) -> None:
    count = FEW if d.limits.has("setup") else d.limits.pixels
    for output in d.outputs:
        if d.limits.has("setup"):
            await few(d, output)
            if await d.shown(0, output) is not None:
                raise Failure("after `setup` no picture has gone out, and `readback` has to say `none`")
        await d.accepted(f"light {output} 1 080402")
        if sorted((await d.shown(1, output) or b"")[:3]) != [2, 4, 8] or any(await d.shown(0, output) or b"\1"):
            raise Failure("`readback` does not give what `light` sent")
        await d.refused(f"readback {output} {count}", ErrorCode.NO_SUCH_PIXEL)
        await d.refused(f"readback {output}", ErrorCode.ARGUMENT_COUNT)
    await d.refused(f"readback {d.limits.outputs} 0", ErrorCode.NO_SUCH_OUTPUT)
    await d.accepted("dark all")


@check("6.1", "features by name and in order")
async def _features(d: Dialogue) -> None:
    heard = await d.accepted("id")
    named = heard.field("features") or ""
    names = [] if named == "none" else named.split(",")
    known = [name for name in FEATURES if name in names]
    if [name for name in names if name in FEATURES] != known or len(set(names)) != len(names):
        raise Failure(f"features={named}: not in the order {','.join(FEATURES)}")
    if "play" in names and "table" not in names:
        raise Failure("a board with `play` has to have `table`")


@check("6.2", "without `setup`, count and order are fixed")
async def _fixed(d: Dialogue) -> None:
    if d.limits.has("setup"):
        raise NotNow("this board has `setup`")
    await d.accepted(f"light 0 {d.limits.pixels - 1} {DIM}")


@check("6.3", "it serves to walk a chain pixel by pixel")
async def _walk(d: Dialogue) -> None:
    count = FEW if d.limits.has("setup") else min(FEW, d.limits.pixels)
    for output in d.outputs:
        if d.limits.has("setup"):
            await few(d, output)
        for pixel in range(count):
            await d.accepted(f"light {output} {pixel} {DIM}")
            await expect_shown(d, output, {pixel: DIM}, count=count, what=f"`light` on pixel {pixel}")
    await d.accepted("dark all")


@check("7.1", "notices are counted")
async def _nseq(d: Dialogue) -> None:
    numbers = [int(n.seq, 16) for n in d.notices if n.word != "restarted"]
    if d.limits.has("silence"):
        d.notices.clear()
        await d.accepted("silence 500")
        for _ in range(2):
            await d.accepted("alive")
            await d.hear(1_200)
        await d.accepted("silence 5000")
        numbers = [int(n.seq, 16) for n in d.notices]
    if len(numbers) < 2:
        raise NotNow("fewer than two notices came")
    for one, two in itertools.pairwise(numbers):
        if two != (one + 1) % 256:
            raise Failure(f"a notice with NSEQ {one:02X} is followed by one with {two:02X}")


@check("7.2", "a notice of a restart first, with its cause")
async def _restarted(d: Dialogue) -> None:
    restarts = [n for n in d.opening if n.word == "restarted"]
    if not restarts:
        raise NotNow("restart the board while the check begins")
    causes = ("power", "external", "brownout", "watchdog", "unknown")
    for notice in restarts:
        if notice.seq != "00" or len(notice.fields) != 1 or notice.fields[0] not in causes:
            raise Failure(
                f"the notice is {show(notice.raw)}, and has to be `~00 restarted` with one of {', '.join(causes)}"
            )


not_seen(
    "7.3",
    "a notice of the step button",
    "press the button in a terminal: `~nn button` with a total that counts up",
    "button",
)


@check("7.4", "the notice of going dark is `dark silence`")
async def _dark_notice(d: Dialogue) -> None:
    for notice in d.heard_notices:
        if notice.word == "dark" and notice.fields != ("silence",):
            raise Failure(f"the notice is {show(notice.raw)}")


not_seen("7.5", "unknown notices are ignored", "a rule for hosts")


@check("8.1", "codes 10 to 14 come without a number, the others with it")
async def _codes(d: Dialogue) -> None:
    await d.damaged(b">61 alive*0000\n", ErrorCode.CHECKSUM)
    await d.refused("nonsense", ErrorCode.UNKNOWN_ORDER)


@check("8.2", "codes have their names")
async def _names(d: Dialogue) -> None:
    await d.refused("nonsense", ErrorCode.UNKNOWN_ORDER)
    await d.refused("light", ErrorCode.ARGUMENT_COUNT)
    await d.refused("light x 0 000000", ErrorCode.BAD_VALUE)
