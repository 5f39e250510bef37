"""Section 5, first part, and sections 6 to 8: identify, light, settings, pictures, notices."""

from __future__ import annotations

import itertools

from device_protocol.errors import ErrorCode
from device_protocol.orders import FEATURES
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
}
_FEW = 6


async def few(d: Dialogue, order: str = "GRB") -> None:
    """A short dark chain with the build's own ceiling."""
    await d.accepted(f"setup 0 {_FEW} {order} 300 {d.limits.ceiling_ma}")


@check("5.1", "`id` has no arguments")
async def _id(d: Dialogue) -> None:
    await d.accepted("id")
    await d.refused("id 0", ErrorCode.ARGUMENT_COUNT)
    await d.refused("sparkle 0", ErrorCode.UNKNOWN_ORDER)
    for feature, texts in _WORDS_OF.items():
        if not d.limits.has(feature):
            for text in texts:
                await d.refused(text, ErrorCode.NO_SUCH_FEATURE)


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
    await d.talk.wait(50)
    if (await d.identify()).uptime_ms < limits.uptime_ms:
        raise Failure("uptime went back between two orders")


@check("5.4", "`light` reaches the chain's pixels and no others")
async def _light(d: Dialogue) -> None:
    count = _FEW if d.limits.has("setup") else d.limits.pixels
    if d.limits.has("setup"):
        await few(d)
    await d.accepted(f"light 0 0 {DIM}")
    await d.accepted(f"light 0 {count - 1} {DIM}")
    await d.refused(f"light 0 {count} {DIM}", ErrorCode.NO_SUCH_PIXEL)
    await d.refused(f"light 0 999999999 {DIM}", ErrorCode.NO_SUCH_PIXEL)
    await d.refused(f"light {d.limits.outputs} 0 {DIM}", ErrorCode.NO_SUCH_OUTPUT)
    await d.refused("light 0 0", ErrorCode.ARGUMENT_COUNT)
    await d.accepted("dark all")


@check("5.5", "`dark` of one output or all")
async def _dark(d: Dialogue) -> None:
    await d.accepted(f"light 0 0 {DIM}")
    await d.accepted("dark 0")
    if d.limits.has("setup") and await d.lit() != 0:
        raise Failure("`dark 0` left something lit")
    await d.accepted(f"light 0 0 {DIM}")
    await d.accepted("dark all")
    if d.limits.has("setup") and await d.lit() != 0:
        raise Failure("`dark all` left something lit")
    await d.refused("dark", ErrorCode.ARGUMENT_COUNT)
    await d.refused("dark none", ErrorCode.BAD_VALUE)
    await d.refused(f"dark {d.limits.outputs}", ErrorCode.NO_SUCH_OUTPUT)


@check("5.6", "`alive`")
async def _alive(d: Dialogue) -> None:
    heard = await d.accepted("alive")
    if heard.fields:
        raise Failure(f"`alive` is answered with fields: {show(heard.raw)}")
    await d.refused("alive 1", ErrorCode.ARGUMENT_COUNT)


@check("5.7", "`setup` and its ranges", "setup")
async def _setup(d: Dialogue) -> None:
    limits = d.limits
    for text in (
        f"{_FEW} GRB 300 {limits.ceiling_ma}",
        f"1 BGR 280 {limits.ceiling_ma}",
        f"{limits.pixels} RGBW 1000 1",
    ):
        heard = await d.accepted(f"setup 0 {text}")
        if heard.fields != tuple(text.split()):
            raise Failure(f"`setup 0 {text}` is answered with {show(heard.raw)}")
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
        await d.refused(f"setup 0 {text}", code)
    await few(d)
    await d.accepted(f"light 0 0 {DIM}")
    await few(d)
    if await d.lit() != 0:
        raise Failure("`setup` left something lit")


@check("5.8", "`state` tells settings, lit pixels and need", "setup")
async def _state(d: Dialogue) -> None:
    limits = d.limits
    await d.accepted(f"setup 0 {_FEW} BRG 310 {limits.ceiling_ma}")
    await d.accepted(f"light 0 2 {DIM}")
    state = await d.state()
    if state[:5] != (str(_FEW), "BRG", "310", str(limits.ceiling_ma), "1"):
        raise Failure(f"`state` gives {' '.join(state)}")
    await d.accepted("light 0 2 000000")
    if await d.lit() != 0:
        raise Failure("a pixel lit in 000000 is counted as lit")
    await d.refused("state all", ErrorCode.BAD_VALUE)


@check("5.9", "`range`", "range")
async def _range(d: Dialogue) -> None:
    if not d.limits.has("setup"):
        await d.accepted("range 0 0 2 040404")
        return
    await few(d)
    await d.accepted("range 0 1 3 040404")
    if await d.lit() != 3:
        raise Failure("a range of 3 pixels lights another number")
    await d.accepted(f"range 0 0 {_FEW} 040404")
    await d.refused("range 0 0 0 040404", ErrorCode.BAD_VALUE)
    await d.refused(f"range 0 1 {_FEW} 040404", ErrorCode.NO_SUCH_PIXEL)
    await d.refused(f"range 0 {_FEW} 1 040404", ErrorCode.NO_SUCH_PIXEL)
    await d.refused("range 0 0 999999999 040404", ErrorCode.NO_SUCH_PIXEL)
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


@check("5.11", "`palette`", "setup", "paint")
async def _palette(d: Dialogue) -> None:
    await few(d)
    await d.accepted("palette 0 1 040404")
    await d.accepted("palette 0 12 010000 000100 000001 040404")
    await d.refused("palette 0 0 040404", ErrorCode.BAD_VALUE)
    await d.refused("palette 0 16 040404", ErrorCode.BAD_VALUE)
    await d.refused("palette 0 15 040404 040404", ErrorCode.BAD_VALUE)
    await d.refused("palette 0 1", ErrorCode.ARGUMENT_COUNT)
    await d.refused("palette 0 1 1 2 3 4 5", ErrorCode.ARGUMENT_COUNT)
    await d.accepted(f"paint 0 0 b{_FEW}")
    await d.accepted("palette 0 1 050505")
    await d.refused("show 0", ErrorCode.INCOMPLETE)


@check("5.12", "`paint` stages, and shows nothing", "setup", "paint")
async def _paint(d: Dialogue) -> None:
    await few(d)
    await d.accepted("palette 0 1 040404 040000")
    for text, staged in (("0 a2b", "3"), ("0 a2b", "3"), ("3 c", "4"), ("3 cb2", str(_FEW)), ("4 b2", str(_FEW))):
        heard = await d.accepted(f"paint 0 {text}")
        if heard.fields != (staged,):
            raise Failure(f"`paint 0 {text}` has to give {staged}: {show(heard.raw)}")
    if await d.lit() != 0:
        raise Failure("`paint` changed what is lit")
    await d.accepted("paint 0 0 b2")
    heard = await d.refused("paint 0 3 b", ErrorCode.OUT_OF_STEP)
    if heard.field("staged") != "2":
        raise Failure(f"staged=2 is missing: {show(heard.raw)}")
    await d.refused(f"paint 0 1 b{_FEW}", ErrorCode.NO_SUCH_PIXEL)
    await d.refused(f"paint 0 {_FEW} b", ErrorCode.NO_SUCH_PIXEL)
    for runs in ("q", "a0", "a1", "b02", "3a", "A2", "a65536"):
        await d.refused(f"paint 0 0 {runs}", ErrorCode.BAD_VALUE)


@check("5.13", "`show` shows only what is complete", "setup", "paint")
async def _show(d: Dialogue) -> None:
    await few(d)
    await d.accepted("palette 0 1 040404")
    await d.accepted("paint 0 0 b2")
    heard = await d.refused("show 0", ErrorCode.INCOMPLETE)
    if heard.field("staged") != "2":
        raise Failure(f"staged=2 is missing: {show(heard.raw)}")
    await d.accepted(f"paint 0 2 a{_FEW - 4}b2" if _FEW > 5 else "paint 0 2 a2b2")
    for _ in range(2):
        await d.accepted("show 0")
        if await d.lit() != 4:
            raise Failure("`show` lights another number of pixels than was staged")
    await d.accepted("dark 0")
    await d.refused("show 0", ErrorCode.INCOMPLETE)


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
    count = _FEW if d.limits.has("setup") else min(_FEW, d.limits.pixels)
    if d.limits.has("setup"):
        await few(d)
    for pixel in range(count):
        await d.accepted(f"light 0 {pixel} {DIM}")
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


@check("7.2", "a restart is told first, with its cause")
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
    "the step button is told",
    "press the button in a terminal: `~nn button` with a total that counts up",
    "button",
)


@check("7.4", "going dark is told as `dark silence`")
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
