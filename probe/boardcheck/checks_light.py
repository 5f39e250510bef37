"""Section 4: dark when silent, and the current ceiling."""

from __future__ import annotations

from device_protocol.current import current_ua, most_colour_sum, need_ma
from device_protocol.errors import ErrorCode
from device_protocol.values import Colour
from probe.boardcheck.dialogue import DIM, Dialogue, Failure, number, show
from probe.boardcheck.registry import NotNow, check, not_seen

_FEW = 4
_DIM_SUM = 48
"""Sum of colour values near which the ceiling is tried: dim on any pixel."""


@check("4.1", "dark and with the build's own settings after a restart", "setup")
async def _after_restart(d: Dialogue) -> None:
    restarts = [n for n in d.notices if n.word == "restarted"]
    if not restarts:
        raise NotNow("restart the board while the check runs, to see its settings afterwards")
    # the settings are looked at by the first check after the port opened, before any `setup`
    first = d.first_state
    limits = d.limits
    if first is None:
        raise NotNow("the board was set up before its settings could be looked at: run the check again")
    wanted = (str(limits.pixels), "GRB", "300", str(limits.ceiling_ma), "0")
    if first[:5] != wanted:
        raise Failure(f"after the restart `state` gives {' '.join(first[:5])}, and has to give {' '.join(wanted)}")


@check("4.2", "dark when the host is silent, once, and told")
async def _silence(d: Dialogue) -> None:
    has = d.limits.has("silence")
    silence_ms = 500 if has else 5_000
    if has:
        await d.accepted(f"silence {silence_ms}")
    try:
        await d.accepted(f"light 0 0 {DIM}")
        d.notices.clear()
        for text in ("alive", "light 0 999999999 080808"):
            for _ in range(2):
                await d.talk.wait(silence_ms * 0.6)
                heard = await d.order(text)
                if heard.seq == "--":
                    raise Failure(f"`{text}` is answered with {show(heard.raw)}")
        if any(n.word == "dark" for n in d.notices):
            raise Failure("it went dark although orders came in time: any order restarts the time")
        await _wait_for_dark(d, silence_ms)
        for _ in range(3):
            await d.hear(silence_ms * 0.5)
        if sum(n.word == "dark" for n in d.notices) != 1:
            raise Failure("it told more than once in one silence that it went dark")
        if d.limits.has("setup") and await d.lit() != 0:
            raise Failure("it told that it went dark, and `state` says that pixels are lit")
    finally:
        if has:
            await d.accepted("silence 5000")


async def _wait_for_dark(d: Dialogue, silence_ms: float) -> None:
    begun = d.talk.now_ms()
    while d.talk.now_ms() - begun < silence_ms * 2 + 500:
        heard = await d.hear(silence_ms)
        if heard is not None and heard.word == "dark":
            if heard.fields != ("silence",):
                raise Failure(f"the notice is {show(heard.raw)}, and has to be `dark silence`", clause="7.4")
            taken = d.talk.now_ms() - begun
            if taken < silence_ms * 0.8:
                raise Failure(f"it went dark after {taken:.0f} ms of {silence_ms} ms")
            return
    raise Failure(f"nothing came for {silence_ms * 2 + 500:.0f} ms, and it did not tell that it went dark")


@check("4.3", "the host cannot raise the ceiling", "setup")
async def _no_raise(d: Dialogue) -> None:
    limits = d.limits
    await d.refused(f"setup 0 {_FEW} GRB 300 {limits.ceiling_ma + 1}", ErrorCode.BAD_VALUE)
    await d.refused(f"setup 0 {_FEW} GRB 300 999999999", ErrorCode.BAD_VALUE)
    heard = await d.accepted(f"setup 0 {_FEW} GRB 300 {limits.ceiling_ma}")
    if heard.fields[-1:] != (str(limits.ceiling_ma),):
        raise Failure(f"`setup` with the build's own ceiling is answered with {show(heard.raw)}")


def _edge(d: Dialogue) -> tuple[int, int]:
    """A ceiling in mA, and the largest sum of colour values that keeps under it with `_FEW` pixels."""
    limits = d.limits
    figures = {"count": _FEW, "idle_ua": limits.idle_ua, "channel_ua": limits.channel_ua}
    ceiling_ma = max(1, -(-current_ua(colour_sum=_DIM_SUM, **figures) // 1000))
    return ceiling_ma, most_colour_sum(ceiling_ma=ceiling_ma, **figures)


def _spread(total: int) -> str:
    third = min(255, total // 3)
    return f"{third:02X}{third:02X}{min(255, total - 2 * third):02X}"


@check("4.4", "the ceiling to its last unit", "setup")
async def _arithmetic(d: Dialogue) -> None:
    limits = d.limits
    ceiling_ma, most = _edge(d)
    if ceiling_ma > limits.ceiling_ma or most > 200:
        raise NotNow(
            "this build's figures put the edge where it is not dim; see the conversations of the specification"
        )
    await d.accepted(f"setup 0 {_FEW} GRB 300 {ceiling_ma}")
    await d.accepted(f"light 0 0 {_spread(most)}")
    state = await d.state()
    colours = [Colour.from_text(_spread(most))] + [Colour(0, 0, 0)] * (_FEW - 1)
    wanted = need_ma(colours, idle_ua=limits.idle_ua, channel_ua=limits.channel_ua)
    if number(state[5], clause="5.8") != wanted:
        raise Failure(f"need is given as {state[5]} mA, and is {wanted} mA")
    heard = await d.refused(f"light 0 0 {_spread(most + 1)}", ErrorCode.CEILING)
    await d.accepted("dark all")
    await d.accepted(f"setup 0 {_FEW} GRB 300 1")
    await d.accepted("dark 0")
    del heard


@check("4.5", "too much is refused, and what is lit stays", "setup")
async def _refused(d: Dialogue) -> None:
    limits = d.limits
    ceiling_ma, most = _edge(d)
    ceiling_ma = min(ceiling_ma, limits.ceiling_ma)
    await d.accepted(f"setup 0 {_FEW} GRB 300 {ceiling_ma}")
    await d.accepted(f"light 0 1 {DIM}" if most >= 24 else "light 0 1 010101")
    before = await d.state()
    heard = await d.refused("light 0 2 FFFFFF", ErrorCode.CEILING)
    colours = [Colour(255, 255, 255)] + [Colour(0, 0, 0)] * (_FEW - 1)
    need = need_ma(colours, idle_ua=limits.idle_ua, channel_ua=limits.channel_ua)
    if heard.field("need") != str(need) or heard.field("ceiling") != str(ceiling_ma):
        raise Failure(f"the fields have to be need={need} ceiling={ceiling_ma}: {show(heard.raw)}")
    if await d.state() != before:
        raise Failure("what is lit changed although the order was refused")
    await d.accepted("dark all")


@check("4.6", "a picture replaces the one before", "setup")
async def _replaces(d: Dialogue) -> None:
    await d.accepted(f"setup 0 {_FEW} GRB 300 {d.limits.ceiling_ma}")
    await d.accepted("light 0 0 040404")
    await d.accepted("light 0 3 040404")
    if await d.lit() != 1:
        raise Failure("after two `light` orders more than one pixel is lit")
    if d.limits.outputs > 1:
        await d.accepted("light 1 0 040404")
        if await d.lit() != 1:
            raise Failure("lighting output 1 changed output 0")
    await d.accepted("dark all")


not_seen("4.7", "colours in the chain's byte order", "light red, green and blue: the chain shows those colours")
not_seen("4.8", "bit times and latch", "a logic analyser on the data pin")
not_seen("4.9", "one picture is enough", "no rule to check")
not_seen(
    "4.10", "no old colours beyond a lowered count", "light the last pixel, then `setup` a smaller count: it goes dark"
)


@check("4.11", "patterns change no faster than every 167 ms", "pattern")
async def _calm(d: Dialogue) -> None:
    await d.refused("run 0 all send live 166 040404 000000", ErrorCode.BAD_VALUE)
