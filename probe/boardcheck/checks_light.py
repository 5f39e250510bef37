"""Section 4: dark when silent, and the current ceiling, on every output and for every order that lights."""

from __future__ import annotations

from collections.abc import Iterator

from device_protocol.current import current_ua, most_colour_sum, need_ma
from device_protocol.errors import ErrorCode
from device_protocol.values import DARK, LATCH_US_DEFAULT, Colour
from probe.boardcheck.dialogue import DIM, BoardReply, Dialogue, Failure, number, show
from probe.boardcheck.registry import NotNow, check, not_seen

_FEW = 4
_DIM_SUM = 48
"""Sum of colour values near which the ceiling is tried: dim on any pixel."""
_EARLY = 0.9
"""A board whose clock runs fast may be dark after so much of the silence time. Judgement, no source."""


@check("4.1", "dark and with the build's own settings after a restart", "setup")
async def _after_restart(d: Dialogue) -> None:
    # settings are looked at right after the port opened, before any `setup`
    if not any(notice.word == "restarted" for notice in d.opening):
        raise NotNow("restart the board while the check begins, to see its settings afterwards")
    limits = d.limits
    wanted = (str(limits.pixels), "GRB", str(LATCH_US_DEFAULT), str(limits.ceiling_ma), "0")
    if len(d.first_states) < limits.outputs:
        raise NotNow("the board was set up before its settings could be looked at: run the check again")
    for output, state in enumerate(d.first_states):
        if state[:5] != wanted:
            raise Failure(
                f"after the restart `state {output}` gives {' '.join(state[:5])}, and has to give {' '.join(wanted)}"
            )


# --- silence ---


@check("4.2", "dark when the host is silent: every output, once, and a notice of it")
async def _silence(d: Dialogue) -> None:
    has = d.limits.has("silence")
    silence_ms = 500 if has else 5_000
    if has:
        await d.accepted(f"silence {silence_ms}")
    try:
        await _orders_count(d, silence_ms)
        if d.limits.has("pattern"):
            await _patterns(d, silence_ms)
        for line in (d.seal(">3A alive").replace(b"ali", b"alj"), b"?\n"):
            await _does_not_count(d, silence_ms, line)
    finally:
        if has:
            await d.accepted("silence 5000")
        await d.accepted("dark all")


async def _orders_count(d: Dialogue, silence_ms: float) -> None:
    for output in d.outputs:
        await d.accepted(f"light {output} 0 {DIM}")
    d.notices.clear()
    late = False
    for text in ("alive", "light 0 999999999 080808"):
        for _ in range(2):
            begun = d.talk.now_ms()
            await d.talk.wait(silence_ms * 0.6)
            late |= d.talk.now_ms() - begun > silence_ms * 0.9
            heard = await d.order(text)
            if heard.seq == "--":
                raise Failure(f"`{text}` is answered with {show(heard.raw)}")
    if any(n.word == "dark" for n in d.notices):
        if late:
            raise NotNow("this computer was too busy to keep the silence time: run the check again")
        raise Failure("it went dark although orders came in time: any order restarts the time")
    await _wait_for_dark(d, silence_ms)
    for _ in range(3):
        await d.hear(silence_ms * 0.5)
    if sum(n.word == "dark" for n in d.notices) != 1:
        raise Failure("more than one notice in one silence that it went dark")
    await _all_dark(d, "its notice says that it went dark")


async def _all_dark(d: Dialogue, why: str) -> None:
    for output in d.outputs:
        if d.limits.has("setup") and await d.lit(output) != 0:
            raise Failure(f"{why}, and `state {output}` says that pixels are lit")
        if d.limits.has("readback") and any(await d.shown(0, output) or b""):
            raise Failure(f"{why}, and pixel 0 of output {output} was last sent as lit")


async def _wait_for_dark(d: Dialogue, silence_ms: float, *, spent_ms: float = 0.0) -> None:
    """Wait for the notice; the last order came `spent_ms` ago."""
    begun, late = d.talk.now_ms() - spent_ms, d.talk.late_ms()
    while (passed := d.talk.now_ms() - begun) - (d.talk.late_ms() - late) < silence_ms * 1.2 + 200:
        heard = await d.hear(max(1.0, silence_ms * 1.2 + 200 - passed))
        if heard is None or heard.word != "dark":
            continue
        if heard.fields != ("silence",):
            raise Failure(f"the notice is {show(heard.raw)}, and has to be `dark silence`", clause="7.4")
        passed = d.talk.now_ms() - begun
        if passed < silence_ms * _EARLY:
            raise Failure(f"it went dark after {passed:.0f} ms of {silence_ms} ms")
        return
    raise Failure(f"nothing came for {silence_ms * 1.2 + 200:.0f} ms, not even a notice that it went dark")


async def _does_not_count(d: Dialogue, silence_ms: float, line: bytes) -> None:
    """A damaged line, and the `?` typed by hand, do not restart the time."""
    await d.accepted(f"light 0 0 {DIM}")
    d.notices.clear()
    begun = d.talk.now_ms()
    await d.talk.wait(silence_ms * 0.8)
    await d.raw(line, show(line))
    spent_ms = d.talk.now_ms() - begun
    if any(n.word == "dark" for n in d.notices):
        if spent_ms > silence_ms * _EARLY:
            return  # this computer was late, and the board kept to its time
        raise Failure(f"it went dark within {spent_ms:.0f} ms of {silence_ms} ms")
    try:
        await _wait_for_dark(d, silence_ms, spent_ms=spent_ms)
    except Failure as failure:
        if failure.clause is not None:
            raise
        raise Failure(f"{show(line)} restarted the silence time: it is no valid order") from failure


async def _patterns(d: Dialogue, silence_ms: float) -> None:
    """`hold` is exempt, `live` is not, and where all outputs hold there is no notice."""
    last = d.limits.outputs - 1
    for output in d.outputs:
        keep = "hold" if output == last else "live"
        await d.accepted(f"run {output} walk once {keep} 60000 {DIM}")
    d.notices.clear()
    if last:
        await _wait_for_dark(d, silence_ms)
    else:
        end = d.talk.now_ms() + silence_ms * 1.6
        while (left := end - d.talk.now_ms()) > 0:
            await d.hear(left)
        if any(n.word == "dark" for n in d.notices):
            raise Failure("every output held its pattern, and its notice says that it went dark")
    for output in d.outputs:
        running = (await d.accepted(f"running {output}")).fields
        if output == last and running == ("none",):
            raise Failure(f"the pattern on output {output} was to `hold`, and silence ended it")
        if output != last and running != ("none",):
            raise Failure(f"the pattern on output {output} was `live`, and silence did not end it")
        if d.limits.has("setup") and (await d.lit(output) != 0) != (output == last):
            raise Failure(f"after the silence `state {output}` does not fit its pattern")


# --- the ceiling ---


@check("4.3", "the host cannot raise the ceiling", "setup")
async def _no_raise(d: Dialogue) -> None:
    limits = d.limits
    for output in d.outputs:
        await d.refused(f"setup {output} {_FEW} GRB 300 {limits.ceiling_ma + 1}", ErrorCode.BAD_VALUE)
        await d.refused(f"setup {output} {_FEW} GRB 300 999999999", ErrorCode.BAD_VALUE)
        heard = await d.accepted(f"setup {output} {_FEW} GRB 300 {limits.ceiling_ma}")
        if heard.fields[-1:] != (str(limits.ceiling_ma),):
            raise Failure(f"`setup` with the build's own ceiling is answered with {show(heard.raw)}")


def _edge(d: Dialogue, *, colours: int = 3) -> tuple[int, int]:
    """A ceiling in mA, and the largest sum of colour values that keeps under it with `_FEW` pixels."""
    limits = d.limits
    figures = {"count": _FEW, "idle_ua": limits.idle_ua, "channel_ua": limits.channel_ua}
    ceiling_ma = max(1, -(-current_ua(colour_sum=_DIM_SUM, **figures) // 1000))
    most = most_colour_sum(ceiling_ma=ceiling_ma, **figures)
    if ceiling_ma > limits.ceiling_ma or most > 200 or most < colours * _FEW:
        raise NotNow(
            "this build's figures put the edge where it is not dim; see the conversations of the specification"
        )
    return ceiling_ma, most


def _spread(total: int, *, white: bool = False) -> Colour:
    """One pixel's colour with that sum."""
    if white:
        return Colour(0, 0, total - min(255, total), min(255, total))
    third = min(255, total // 3)
    return Colour(third, third, min(255, total - 2 * third))


def _pictures(d: Dialogue, output: int, total: int, *, white: bool = False) -> Iterator[tuple[str, tuple[str, ...]]]:
    """Every way in which this board lights a picture whose colour values have that sum: its name and its orders."""
    one = _spread(total, white=white)
    yield "light", (f"light {output} 2 {one.text}",)
    if d.limits.has("range"):
        yield "range", (f"range {output} 1 1 {one.text}",)
    if d.limits.has("paint"):
        yield (
            "show",
            (f"palette {output} 3 {one.text}", f"paint {output} 0 a{_FEW - 2}da", f"show {output}"),
        )
    if d.limits.has("pattern"):
        yield "run walk", (f"run {output} walk once live 60000 {one.text}",)
        dim = Colour(0, 0, 1).text
        if not white and total % _FEW == 0:
            each = _spread(total // _FEW).text
            yield "run all", (f"run {output} all once live 60000 {dim} {each}",)


@check("4.4", "the ceiling to its last unit, whatever lights", "setup")
async def _arithmetic(d: Dialogue) -> None:
    limits = d.limits
    ceiling_ma, most = _edge(d)
    even = most // _FEW * _FEW
    for output in d.outputs:
        for white in (False, True):
            order = "GRBW" if white else "GRB"
            await d.accepted(f"setup {output} {_FEW} {order} 300 {ceiling_ma}")
            for name, orders in _pictures(d, output, most, white=white):
                for text in orders:
                    await d.accepted(text)
                wanted = need_ma(
                    [_spread(most, white=white)] + [DARK] * (_FEW - 1),
                    idle_ua=limits.idle_ua,
                    channel_ua=limits.channel_ua,
                )
                need = number((await d.state(output))[5], clause="5.8")
                if name != "run all" and need != wanted:
                    raise Failure(f"need of `{name}` on output {output} is given as {need} mA, and is {wanted} mA")
            for total in (most + 1, even + _FEW):
                for name, orders in _pictures(d, output, total, white=white):
                    if name != "run all" and total != most + 1:
                        continue
                    await _too_much(d, name, orders)
        await d.accepted(f"setup {output} {_FEW} GRB 300 1")
        await d.accepted(f"dark {output}")
    await d.accepted("dark all")


async def _too_much(d: Dialogue, name: str, orders: tuple[str, ...]) -> BoardReply:
    for text in orders[:-1]:
        await d.accepted(text)
    heard = await d.order(orders[-1])
    if heard.code != ErrorCode.CEILING:
        raise Failure(
            f"`{orders[-1]}` exceeds the ceiling and has to be refused with 32 ceiling; the answer is {show(heard.raw)}"
        )
    return heard


@check("4.5", "too much is refused, and what is lit stays", "setup")
async def _refused(d: Dialogue) -> None:
    limits = d.limits
    ceiling_ma, most = _edge(d)
    for output in d.outputs:
        for white in (False, True):
            await d.accepted(f"setup {output} {_FEW} {'RGBW' if white else 'GRB'} 300 {ceiling_ma}")
            total = 255 if white else 765
            need = need_ma(
                [_spread(total, white=white)] + [DARK] * (_FEW - 1),
                idle_ua=limits.idle_ua,
                channel_ua=limits.channel_ua,
            )
            if need <= ceiling_ma:
                continue
            await d.accepted(f"light {output} 1 {DIM if most >= 24 else '010101'}")
            for name, orders in _pictures(d, output, total, white=white):
                before = await d.state(output)
                heard = await _too_much(d, name, orders)
                if name != "run all" and (heard.field("need"), heard.field("ceiling")) != (str(need), str(ceiling_ma)):
                    raise Failure(f"the fields have to be need={need} ceiling={ceiling_ma}: {show(heard.raw)}")
                if await d.state(output) != before:
                    raise Failure(f"what is lit on output {output} changed although `{name}` was refused")
                if name == "show" and (await d.refused(orders[-1], ErrorCode.CEILING)).code != ErrorCode.CEILING:
                    raise Failure("a staged picture that was refused is staged no more")
    await d.accepted("dark all")


@check("4.6", "a picture replaces the one before, on its own output", "setup")
async def _replaces(d: Dialogue) -> None:
    for output in d.outputs:
        await d.accepted(f"setup {output} {_FEW} GRB 300 {d.limits.ceiling_ma}")
    for output in d.outputs:
        await d.accepted(f"light {output} 0 040404")
        await d.accepted(f"light {output} 3 040404")
        if await d.lit(output) != 1:
            raise Failure(f"after two `light` orders more than one pixel of output {output} is lit")
    for output in d.outputs:
        if await d.lit(output) != 1:
            raise Failure(f"lighting another output changed output {output}")
    await d.accepted("dark all")


@check("4.7", "colours in the chain's byte order")
async def _byte_order(d: Dialogue) -> None:
    if not (d.limits.has("setup") and d.limits.has("readback")):
        raise NotNow("light red, green and blue: the chain shows those colours")
    for output in d.outputs:
        for order in ("RGB", "GBR", "BRG", "WRGB", "BGWR"):
            colour = Colour(1, 2, 3, 4 if "W" in order else 0)
            await d.accepted(f"setup {output} {_FEW} {order} 300 {d.limits.ceiling_ma}")
            await d.accepted(f"light {output} 1 {colour.text}")
            sent = await d.shown(1, output)
            if sent != colour.wire(order):
                raise Failure(
                    f"{colour.text} on a chain of {order} goes out as {(sent or b'').hex().upper() or 'none'}"
                )
    await d.accepted("dark all")


not_seen("4.8", "bit times and latch", "a logic analyser on the data pin")
not_seen("4.9", "one picture is enough", "no rule to check")
not_seen(
    "4.10", "no old colours beyond a lowered count", "light the last pixel, then `setup` a smaller count: it goes dark"
)


@check("4.11", "patterns change no faster than every 167 ms", "pattern")
async def _calm(d: Dialogue) -> None:
    for output in d.outputs:
        await d.refused(f"run {output} all send live 166 040404 000000", ErrorCode.BAD_VALUE)
        await d.accepted(f"run {output} all once live 167 010000 000000")
        begun = d.talk.now_ms()
        first = number((await d.accepted(f"running {output}")).fields[-1], clause="5.23")
        await d.talk.wait(600)
        done = number((await d.accepted(f"running {output}")).fields[-1], clause="5.23") - first
        passed = d.talk.now_ms() - begun
        if done > passed / 167 * 1.05 + 2:
            raise Failure(f"{done} steps of 167 ms ended on output {output} in {passed:.0f} ms")
    await d.accepted("dark all")
