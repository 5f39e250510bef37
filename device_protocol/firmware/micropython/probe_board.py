# mypy: ignore-errors
"""The probe line protocol (SPEC.md) in one file for MicroPython (copy it to the board as main.py) and CircuitPython (as
code.py); set what is below.

Features: setup, range, silence, paint, button, readback. `Responder` knows no hardware; `Hardware` is the only user of `machine`,
`CircuitHardware` of `board`. CPython runs it too, for tests; MicroPython has no typing, so there are no annotations. MIT licence.
"""

# --- what this board is ---
NAME = "micropython"
BUILD = "1.0"
LINE = 96
PINS = (0,)  # data pins, one output each; in CircuitPython their names in `board`, such as ("GP0",)
BUTTON_PIN = 15  # contact to ground; None: no button. In CircuitPython a name, such as "GP15"
PIXELS = 300  # most on one output
CEILING_MA = 1000  # of one output; no order lifts it
CHANNEL_UA = 20_000
IDLE_UA = 1_000
FEATURES = ("setup", "range", "silence", "paint", "button", "readback")

# High and low time of a 0, then of a 1, ns (SPEC 4.8). What the chip makes of them: see its papers, and measure.
BIT_NS = (312, 938, 688, 688)

DEBOUNCE_MS = 30
DARK = (0, 0, 0, 0)
_CRC = (0x0000, 0x1021, 0x2042, 0x3063, 0x4084, 0x50A5, 0x60C6, 0x70E7)
_CRC += (0x8108, 0x9129, 0xA14A, 0xB16B, 0xC18C, 0xD1AD, 0xE1CE, 0xF1EF)
_NAMES = {
    10: "malformed",
    11: "checksum",
    12: "overlong",
    13: "forbidden-byte",
    14: "lost-bytes",
    20: "unknown-order",
    21: "argument-count",
    22: "bad-value",
    23: "no-such-feature",
    30: "no-such-output",
    31: "no-such-pixel",
    32: "ceiling",
    33: "too-many-pixels",
    35: "incomplete",
    36: "out-of-step",
    40: "internal",
}
# word: fewest and most arguments, feature. All words of version 1, so that 20 and 23 can be told apart.
_ORDERS = {
    "id": (0, 0, None),
    "light": (3, 3, None),
    "dark": (1, 1, None),
    "alive": (0, 0, None),
    "setup": (5, 5, "setup"),
    "state": (1, 1, "setup"),
    "range": (4, 4, "range"),
    "silence": (1, 1, "silence"),
    "palette": (3, 6, "paint"),
    "paint": (3, 3, "paint"),
    "show": (1, 1, "paint"),
    "table": (0, 0, "table"),
    "write": (2, 2, "table"),
    "read": (2, 2, "table"),
    "commit": (3, 3, "table"),
    "erase": (0, 0, "table"),
    "play": (0, 1, "play"),
    "lamp": (2, 2, "play"),
    "group": (2, 2, "play"),
    "run": (6, 9, "pattern"),
    "running": (1, 1, "pattern"),
    "inputs": (1, 1, "inputs"),
    "edges": (1, 1, "inputs"),
    "linger": (1, 1, "inputs"),
    "watch": (1, 1, "inputs"),
    "count": (3, 3, "count"),
    "readback": (2, 2, "readback"),
}


def crc16(data):
    """CRC-16/IBM-3740, four bits at a time (SPEC 2.6)."""
    crc = 0xFFFF
    for byte in data:
        crc = ((crc << 4) & 0xFFFF) ^ _CRC[(crc >> 12) ^ (byte >> 4)]
        crc = ((crc << 4) & 0xFFFF) ^ _CRC[(crc >> 12) ^ (byte & 15)]
    return crc


class OrderError(Exception):
    """The order is answered with `code` and `fields`, and changes nothing."""

    def __init__(self, code, fields=""):
        super().__init__(code)
        self.code = code
        self.fields = fields


def number(text, least=0, most=999_999_999):
    """A number of SPEC 2.7 within limits; else 22."""
    if not 1 <= len(text) <= 9 or (text[0] == "0" and text != "0"):
        raise OrderError(22)
    for letter in text:
        if not "0" <= letter <= "9":
            raise OrderError(22)
    value = int(text)
    if not least <= value <= most:
        raise OrderError(22)
    return value


def is_hex(text):
    """Upper-case hexadecimal digits only."""
    return all("0" <= letter <= "9" or "A" <= letter <= "F" for letter in text)


def runs_of(text):
    """RUNS of `paint` as a list of (entry, how many); 22 when the form is wrong (SPEC 5.12)."""
    runs = []
    at = 0
    while at < len(text):
        entry = ord(text[at]) - ord("a")
        if not 0 <= entry <= 15:
            raise OrderError(22)
        end = at + 1
        while end < len(text) and "0" <= text[end] <= "9":
            end += 1
        runs.append((entry, number(text[at + 1 : end], 2, 65_535) if end > at + 1 else 1))
        at = end
    return runs


class Output:
    """Settings of one output, what is lit (as figures) and what is staged (as palette entries)."""

    def __init__(self, count, order, latch, ceiling):
        self.count = count
        self.order = order
        self.latch = latch
        self.ceiling = ceiling
        self.palette = [DARK] * 16
        self.entries = bytearray(count)
        self.staged = 0
        self.lit = 0
        self.total = 0
        self.shown = None  # (wire bytes, how many) of the last picture, run by run; None: not held

    def colour(self, text):
        """A colour that these pixels can show; else 22."""
        if len(text) not in (6, 8) or not is_hex(text):
            raise OrderError(22)
        parts = [int(text[at : at + 2], 16) for at in range(0, len(text), 2)]
        colour = tuple(parts) if len(parts) == 4 else (parts[0], parts[1], parts[2], 0)
        if colour[3] and len(self.order) == 3:
            raise OrderError(22)
        return colour

    def pixel(self, text):
        """The number of a pixel of this chain; else 22 or 31."""
        value = number(text)
        if value >= self.count:
            raise OrderError(31)
        return value

    def settings(self):
        """The first four fields of `setup` and `state`."""
        return f"{self.count} {self.order} {self.latch} {self.ceiling}"


class Responder:
    """Bytes in by `receive`, bytes out by `send(bytes)`, frames by `frame(output, bytes, latch_us)`.

    `now` is any growing count of ms. `config` may replace this file's settings: outputs, pixels, line, ceiling,
    channel, idle, features.
    """

    def __init__(self, send, frame, now=0, cause="power", config=None):
        given = config or {}
        self.outputs_count = given.get("outputs", len(PINS))
        self.pixels = given.get("pixels", PIXELS)
        self.limit = given.get("line", LINE)
        self.ceiling = given.get("ceiling", CEILING_MA)
        self.channel = given.get("channel", CHANNEL_UA)
        self.idle = given.get("idle", IDLE_UA)
        self.features = given.get("features", FEATURES)
        self._send = send
        self._frame = frame
        self._buffer = memoryview(bytearray(4 * self.pixels))
        self._line = bytearray()
        self._long = False
        self._lost = False
        self._started = self._now = now
        self._heard = None
        self._cause = cause
        self._notices = 0
        self._presses = 0
        self._closed = False
        self._bounced = now
        self._counted = False
        self.silence = 5_000
        self.outputs = [Output(self.pixels, "GRB", 300, self.ceiling) for _ in range(self.outputs_count)]
        self._darken_all()
        self._notice("restarted " + cause)

    # --- what happens to the board ---

    def receive(self, data, now):
        """Bytes from the host."""
        self.tick(now)
        for byte in data:
            if byte == 10:
                self._end_line()
            elif len(self._line) <= self.limit:
                self._line.append(byte)
            else:
                self._long = True

    def lose(self):
        """The receiver says that bytes of the line now arriving are lost (SPEC 3.8)."""
        self._lost = True

    def tick(self, now):
        """Time passes."""
        self._now = now
        if self._heard is not None and now - self._heard >= self.silence:
            self._heard = None
            self._darken_all()
            self._notice("dark silence")

    def contact(self, closed, now):
        """The step button's bare contact as it is now; call it every few ms."""
        if closed != self._closed:
            self._closed = closed
            self._bounced = now
        elif now - self._bounced >= DEBOUNCE_MS and closed != self._counted:
            self._counted = closed
            if closed and "button" in self.features:
                self._presses += 1
                self._notice(f"button {self._presses}")

    # --- lines ---

    def _seal(self, body):
        data = body.encode()
        self._send(data + b"*%04X\n" % crc16(data))

    def _notice(self, words):
        self._seal(f"~{self._notices:02X} {words}")
        self._notices = (self._notices + 1) % 256

    def _end_line(self):
        line, long, lost = bytes(self._line), self._long, self._lost
        self._line = bytearray()
        self._long = self._lost = False
        if line[-1:] == b"\r":
            line = line[:-1]
        if not (line or lost or long):
            return
        if line == b"?" and not lost:
            self._seal("<00 ok" + self._id())
            return
        fault = 14 if lost else 12 if long or len(line) > self.limit else self._fault_of(line)
        if fault:
            self._seal(f"!-- {fault} {_NAMES[fault]}")
            return
        self._heard = self._now
        seq = line[1:3].decode()
        words = line[4:-5].decode().split(" ")
        try:
            self._seal(f"<{seq} ok{self._carry_out(words[0], words[1:])}")
        except OrderError as refused:
            self._seal(f"!{seq} {refused.code} {_NAMES[refused.code]}{refused.fields}")

    @staticmethod
    def _fault_of(line):
        """13, 10 or 11, the first that fails (SPEC 3.5); 0 for a sound line."""
        for byte in line:
            if not 0x20 <= byte <= 0x7E:
                return 13
        text = line.decode()
        if len(text) < 10 or text[0] != ">" or text[3] != " " or text.find("*") != len(text) - 5:
            return 10
        parts = text[4:-5].split(" ")
        if "" in parts or not is_hex(text[1:3] + text[-4:]) or not 1 <= len(parts[0]) <= 12:
            return 10
        for letter in parts[0]:
            if not "a" <= letter <= "z":
                return 10
        return 0 if crc16(line[:-5]) == int(text[-4:], 16) else 11

    def _carry_out(self, word, given):
        if word not in _ORDERS:
            raise OrderError(20)
        least, most, feature = _ORDERS[word]
        if feature is not None and feature not in self.features:
            raise OrderError(23)
        if not least <= len(given) <= most:
            raise OrderError(21)
        return getattr(self, "_" + word)(*given) or ""

    # --- light ---

    def _output(self, text):
        value = number(text)
        if value >= len(self.outputs):
            raise OrderError(30)
        return self.outputs[value]

    def _need_ma(self, output, total):
        need = output.count * self.idle + (self.channel * total + 254) // 255
        return (need + 999) // 1000

    def _check_ceiling(self, output, total):
        if total and self._need_ma(output, total) > output.ceiling:
            raise OrderError(32, f" need={self._need_ma(output, total)} ceiling={output.ceiling}")

    def _clock(self, output, runs):
        """Clock a picture out, given as (colour, how many); it is the one that is lit."""
        at = lit = total = 0
        shown = []
        width = len(output.order)
        for colour, count in runs:
            wire = bytes([colour["RGBW".index(letter)] for letter in output.order])
            self._buffer[at : at + count * width] = wire * count
            shown.append((wire, count))
            at += count * width
            total += sum(colour) * count
            lit += count if sum(colour) else 0
        output.lit, output.total, output.shown = lit, total, shown
        self._frame(self.outputs.index(output), self._buffer[:at], output.latch)

    def _darken_all(self):
        for output in self.outputs:
            self._darken(output)

    def _darken(self, output):
        output.staged = 0
        self._clock(output, ((DARK, output.count),))

    def _light_run(self, output, first, count, colour):
        self._check_ceiling(output, sum(colour) * count)
        output.staged = 0
        self._clock(output, ((DARK, first), (colour, count), (DARK, output.count - first - count)))

    # --- orders, by their words ---

    def _id(self):
        values = (
            ("proto", 1),
            ("board", NAME),
            ("build", BUILD),
            ("line", self.limit),
            ("outputs", len(self.outputs)),
            ("pixels", self.pixels),
            ("ceiling", self.ceiling),
            ("channel", self.channel),
            ("idle", self.idle),
            ("silence", self.silence),
            ("uptime", (self._now - self._started) % 4_294_967_296),
            ("cause", self._cause),
            ("table", 0),
            ("features", ",".join(self.features) or "none"),
        )
        return "".join([f" {key}={value}" for key, value in values])

    def _alive(self):
        pass

    def _light(self, where, pixel, colour):
        output = self._output(where)
        first = output.pixel(pixel)
        self._light_run(output, first, 1, output.colour(colour))

    def _range(self, where, first, count, colour):
        output = self._output(where)
        start = output.pixel(first)
        pixels = number(count, 1)
        if start + pixels > output.count:
            raise OrderError(31)
        self._light_run(output, start, pixels, output.colour(colour))

    def _dark(self, where):
        if where == "all":
            self._darken_all()
        else:
            self._darken(self._output(where))

    def _setup(self, where, count, order, latch, ceiling):
        output = self._output(where)
        pixels = number(count, 1)
        if pixels > self.pixels:
            raise OrderError(33)
        if sorted(order) not in (["B", "G", "R"], ["B", "G", "R", "W"]):
            raise OrderError(22)
        made = (pixels, order, number(latch, 280, 1_000), number(ceiling, 1, self.ceiling))
        self._darken(output)
        at = self.outputs.index(output)
        self.outputs[at] = Output(*made)
        return " " + self.outputs[at].settings()

    def _state(self, where):
        output = self._output(where)
        return f" {output.settings()} {output.lit} {self._need_ma(output, output.total)}"

    def _silence(self, ms):
        self.silence = number(ms, 500, 60_000)
        return f" {self.silence}"

    def _palette(self, where, first, *colours):
        output = self._output(where)
        start = number(first, 1, 15)
        if start + len(colours) > 16:
            raise OrderError(22)
        made = [output.colour(text) for text in colours]
        for at, colour in enumerate(made):
            output.palette[start + at] = colour
        output.staged = 0
        output.shown = None

    def _paint(self, where, offset, text):
        output = self._output(where)
        at = output.pixel(offset)
        runs = runs_of(text)
        if at + sum([count for _, count in runs]) > output.count:
            raise OrderError(31)
        if at > output.staged:
            raise OrderError(36, f" staged={output.staged}")
        for entry, count in runs:
            for pixel in range(at, at + count):
                output.entries[pixel] = entry
            at += count
        output.staged = at
        output.shown = None
        return f" {at}"

    def _show(self, where):
        output = self._output(where)
        if output.staged < output.count:
            raise OrderError(35, f" staged={output.staged}")
        sums = [sum(colour) for colour in output.palette]
        self._check_ceiling(output, sum([sums[entry] for entry in output.entries]))
        self._clock(output, self._staged_runs(output))

    def _readback(self, where, pixel):
        output = self._output(where)
        at = output.pixel(pixel)
        for wire, count in output.shown or ():
            if at < count:
                return " " + "".join([f"{byte:02X}" for byte in wire])
            at -= count
        return " none"

    @staticmethod
    def _staged_runs(output):
        start = 0
        for at in range(1, output.count + 1):
            if at == output.count or output.entries[at] != output.entries[start]:
                yield output.palette[output.entries[start]], at - start
                start = at


class Hardware:
    """A board of the MicroPython family: pixels by `machine.bitstream`, the host on USB, a button to ground."""

    def __init__(self, stdin=None, stdout=None):
        """The streams are those of the USB port unless given."""
        import select
        import sys
        import time

        import machine
        import micropython

        micropython.kbd_intr(-1)  # a byte 0x03 is noise to be answered, not a wish to stop the board
        self._bitstream = machine.bitstream
        self._time = time
        self._pins = [machine.Pin(pin, machine.Pin.OUT, value=0) for pin in PINS]
        self._button = None if BUTTON_PIN is None else machine.Pin(BUTTON_PIN, machine.Pin.IN, machine.Pin.PULL_UP)
        self._in = stdin or sys.stdin.buffer
        self._out = stdout or sys.stdout.buffer
        self._poll = select.poll()
        self._poll.register(stdin or sys.stdin, select.POLLIN)
        self._ticks = time.ticks_ms()
        self._ms = 0
        causes = {}
        for name, cause in (("PWRON_RESET", "power"), ("HARD_RESET", "external"), ("WDT_RESET", "watchdog")):
            if hasattr(machine, name):
                causes[getattr(machine, name)] = cause
        self.board = Responder(self._send, self._show, self.now(), causes.get(machine.reset_cause(), "unknown"))

    def now(self):
        """Milliseconds that never wrap."""
        ticks = self._time.ticks_ms()
        self._ms += self._time.ticks_diff(ticks, self._ticks)
        self._ticks = ticks
        return self._ms

    def _send(self, data):
        self._out.write(data)

    def _show(self, output, data, latch_us):
        self._bitstream(self._pins[output], 0, BIT_NS, data)
        self._time.sleep_us(latch_us)

    def step(self):
        """One turn: a byte if there is one, else a millisecond of waiting."""
        heard = self._poll.poll(1)
        now = self.now()
        if heard:
            self.board.receive(self._in.read(1), now)
        self.board.tick(now)
        if self._button is not None:
            self.board.contact(self._button.value() == 0, now)


class CircuitHardware:
    """A board of the CircuitPython family: pixels by `neopixel_write`, the host on the second USB serial port if boot.py has
    switched it on (`usb_cdc.enable(data=True)`), else on the console."""

    def __init__(self):
        import board
        import digitalio
        import microcontroller
        import neopixel_write
        import supervisor
        import usb_cdc

        self._write = neopixel_write.neopixel_write
        self._ticks_ms = supervisor.ticks_ms
        self._delay_us = microcontroller.delay_us
        self._line = usb_cdc.data or usb_cdc.console
        self._pins = []
        for name in PINS:
            pin = digitalio.DigitalInOut(getattr(board, name))
            pin.switch_to_output(False)
            self._pins.append(pin)
        self._button = None
        if BUTTON_PIN is not None:
            self._button = digitalio.DigitalInOut(getattr(board, BUTTON_PIN))
            self._button.switch_to_input(digitalio.Pull.UP)
        self._ticks = self._ticks_ms()
        self._ms = 0
        reasons = microcontroller.ResetReason
        causes = {
            reasons.POWER_ON: "power",
            reasons.RESET_PIN: "external",
            reasons.BROWNOUT: "brownout",
            reasons.WATCHDOG: "watchdog",
        }
        cause = causes.get(microcontroller.cpu.reset_reason, "unknown")
        self.board = Responder(self._line.write, self._show, self.now(), cause)

    def now(self):
        """Milliseconds that never wrap; those of `supervisor` do after 2^29."""
        ticks = self._ticks_ms()
        self._ms += (ticks - self._ticks) % (1 << 29)
        self._ticks = ticks
        return self._ms

    def _show(self, output, data, latch_us):
        self._write(self._pins[output], data)
        self._delay_us(latch_us)

    def step(self):
        """One turn: what has come, if anything."""
        now = self.now()
        waiting = self._line.in_waiting
        if waiting:
            self.board.receive(self._line.read(min(waiting, 64)), now)
        self.board.tick(now)
        if self._button is not None:
            self.board.contact(not self._button.value, now)


def main():
    """Run for ever."""
    import sys

    hardware = CircuitHardware() if sys.implementation.name == "circuitpython" else Hardware()
    while True:
        hardware.step()


if __name__ == "__main__":
    main()
