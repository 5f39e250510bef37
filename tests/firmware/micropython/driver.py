# mypy: ignore-errors
"""Runs probe_board.py by one-line commands, in MicroPython and in CPython alike (so: neither annotations nor pathlib).

`start JSON`, `in HEX`, `tick MS`, `contact 0|1`, `lose`, `frame OUTPUT`, `free`; `hardware` builds the part that uses
`machine` on the stand-ins below and plays the bytes that follow to it. Every answer is one line.
"""

import gc
import json
import sys

import probe_board


class Driver:
    """One board and what it said."""

    def __init__(self):
        self.board = None
        self.now = 0
        self.said = bytearray()
        self.frames = {}

    def _say(self, data):
        self.said += data

    def _show(self, output, data, latch_us):
        self.frames[output] = bytes(data)

    def _take(self):
        said = bytes(self.said)
        self.said = bytearray()
        return said.hex() if said else ""  # MicroPython's hex() of nothing is bytes

    def command(self, text):
        """Carry one command out."""
        verb, _, rest = text.partition(" ")
        if verb == "start":
            config = json.loads(rest)
            self.now = 0
            self.board = probe_board.Responder(self._say, self._show, 0, "power", config)
        elif verb == "in":
            self.board.receive(bytes.fromhex(rest), self.now)
        elif verb == "tick":
            self.now = int(float(rest))
            self.board.tick(self.now)
        elif verb == "contact":
            self.board.contact(rest == "1", self.now)
        elif verb == "lose":
            self.board.lose()
        elif verb == "frame":
            return self.frames[int(rest)].hex() if int(rest) in self.frames else "none"
        elif verb == "free":
            gc.collect()
            return str(gc.mem_alloc()) if hasattr(gc, "mem_alloc") else "0"
        elif verb == "hardware":
            return hardware(bytes.fromhex(rest))
        else:
            return "error " + verb
        return self._take()


class _Parts:
    """Stand-in for a module: whatever is put into it."""


def hardware(data):
    """Run `Hardware` on stand-ins until it has read `data` and waited 40 ms with the button closed."""
    log = []

    class Pin:
        OUT, IN, PULL_UP = 1, 0, 2

        def __init__(self, number, mode, pull=None, value=None):
            self.number = number

        def value(self):
            return 0 if not stream.left else 1

    class Stream:
        def __init__(self):
            self.left = data
            self.said = b""

        def read(self, count):
            taken, self.left = self.left[:count], self.left[count:]
            return taken

        def write(self, said):
            self.said += said

    class Poll:
        def register(self, what, flags):
            pass

        def poll(self, ms):
            clock.ms = (clock.ms + ms) % clock.wrap
            return [1] if stream.left else []

    stream, clock = Stream(), _Parts()
    clock.wrap = 1 << 30
    clock.ms = clock.wrap - 20  # wraps soon after the start
    machine, micropython, select, time = _Parts(), _Parts(), _Parts(), _Parts()
    machine.Pin = Pin
    machine.PWRON_RESET, machine.WDT_RESET = 1, 3
    machine.reset_cause = lambda: 3
    machine.bitstream = lambda pin, coding, times, frame: log.append(f"{pin.number}:{len(frame)}")
    micropython.kbd_intr = lambda byte: log.append(f"kbd {byte}")
    select.POLLIN = 1
    select.poll = Poll
    time.ticks_ms = lambda: clock.ms
    time.ticks_diff = lambda new, old: (new - old + clock.wrap // 2) % clock.wrap - clock.wrap // 2
    time.sleep_us = lambda us: log.append(f"low {us}")
    kept = {}
    for name, module in (("machine", machine), ("micropython", micropython), ("select", select), ("time", time)):
        kept[name] = sys.modules.get(name)
        sys.modules[name] = module
    try:
        made = probe_board.Hardware(stream, stream)
        for _ in range(len(data) + 80):
            made.step()
    finally:
        for name, module in kept.items():
            if module is None:
                del sys.modules[name]
            else:
                sys.modules[name] = module
    return json.dumps({"log": log, "said": stream.said.decode()})
