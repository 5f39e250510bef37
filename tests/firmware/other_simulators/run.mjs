// A compiled board in a simulator of npm: node run.mjs avr|rp2040 IMAGE MODULE; commands by standard input, JSON answers.
// Bytes of the host take their time on the line; what leaves the data pins is decoded edge by edge.
import { readFileSync } from "node:fs";
import { createInterface } from "node:readline";
import { createRequire } from "node:module";

const [kind, image, module_] = process.argv.slice(2);
const ONE_NS = 500; // a pulse so long is a 1
const FRAME_NS = 50_000; // a low so long ends a frame
const BYTE_NS = 1e10 / 115200;

class Output {
    constructor() {
        this.bits = [];
        this.last = [];
        this.frames = 0;
        this.rose = this.fell = null;
        this.clear();
    }
    clear() {
        this.times = { t0h: null, t1h: null, low0: null, low1: null };
    }
    note(what, ns) {
        const seen = this.times[what];
        this.times[what] = seen ? [Math.min(seen[0], ns), Math.max(seen[1], ns)] : [ns, ns];
    }
    edge(level, ns) {
        if (level) {
            if (this.fell !== null) {
                const low = ns - this.fell;
                if (low >= FRAME_NS) this.settle();
                else this.note(this.bits[this.bits.length - 1] ? "low1" : "low0", low);
            }
            this.rose = ns;
        } else if (this.rose !== null) {
            const high = ns - this.rose;
            const one = high >= ONE_NS;
            this.note(one ? "t1h" : "t0h", high);
            this.bits.push(one ? 1 : 0);
            this.fell = ns;
        }
    }
    settle() {
        if (this.bits.length) {
            this.last = this.bits;
            this.frames++;
        }
        this.bits = [];
    }
    bytes(ns) {
        if (this.fell !== null && ns - this.fell >= FRAME_NS) this.settle();
        const bytes = [];
        for (let at = 0; at + 8 <= this.last.length; at += 8)
            bytes.push(parseInt(this.last.slice(at, at + 8).join(""), 2));
        return { hex: Buffer.from(bytes).toString("hex"), spare: this.last.length % 8, frames: this.frames };
    }
}

const outputs = [new Output(), new Output()];
const sent = [];
const waiting = [];

const require = createRequire(module_ + "/");
let step, now, press;
let fitShift = () => {
    throw new Error("no shift registers on this board");
};
if (kind === "avr") {
    const avr = require("avr8js");
    const flash = new Uint8Array(32768);
    flash.set(readFileSync(image));
    const cpu = new avr.CPU(new Uint16Array(flash.buffer), 2048);
    cpu.data[0x54] = 1; // MCUSR: power-up
    now = () => cpu.cycles * 62.5;
    new avr.AVRTimer(cpu, avr.timer0Config);
    new avr.AVRTimer(cpu, avr.timer1Config);
    new avr.AVREEPROM(cpu, new avr.EEPROMMemoryBackend(1024));
    const usart = new avr.AVRUSART(cpu, avr.usart0Config, 16e6);
    usart.onByteTransmit = (byte) => sent.push(byte);
    const next = () => waiting.length && !usart.rxBusy && usart.rxEnable && usart.writeByte(waiting.shift());
    usart.onRxComplete = next;
    const portB = new avr.AVRIOPort(cpu, avr.portBConfig);
    const portC = new avr.AVRIOPort(cpu, avr.portCConfig);
    const portD = new avr.AVRIOPort(cpu, avr.portDConfig);
    for (let bit = 0; bit < 8; bit++) {
        portC.setPin(bit, true); // what nothing drives is pulled up
        portD.setPin(bit, true);
    }
    // A chain of 74HC165, the nearest first: load C0 (low: inputs are taken in all the time), clock C1 (rise: shift), data C2. What
    // is shifted out first is input H of the nearest; the last one's serial input is high.
    let inputs = [];
    let shifted = [];
    const takeIn = () => (shifted = inputs.flatMap((byte) => [7, 6, 5, 4, 3, 2, 1, 0].map((bit) => (byte >> bit) & 1)));
    const drive = () => portC.setPin(2, shifted[0] === 1);
    portC.addListener((value, old) => {
        if (!inputs.length) return;
        if (!(value & 1)) takeIn();
        else if (~old & value & 2) shifted = [...shifted.slice(1), 1];
        drive();
    });
    fitShift = (levels) => (inputs = [...levels]);
    portB.addListener((value, old) => {
        for (let bit = 0; bit < 2; bit++)
            if ((value ^ old) & (1 << bit)) outputs[bit].edge((value >> bit) & 1, now());
    });
    press = (down) => portD.setPin(2, !down);
    step = () => {
        avr.avrInstruction(cpu);
        cpu.tick();
        next();
    };
} else {
    const { Simulator, LogLevel, ConsoleLogger } = require("rp2040js");
    const simulator = new Simulator();
    const chip = simulator.rp2040;
    if (ConsoleLogger) chip.logger = new ConsoleLogger(LogLevel.Error, true);
    const program = readFileSync(image);
    chip.flash.set(program);
    now = () => simulator.clock.nanos;
    chip.core.VTOR = 0x10000000;
    chip.core.SP = program.readUInt32LE(0);
    chip.core.PC = program.readUInt32LE(4) & ~1;
    // The emulator runs its PIO apart from its clock and waits out no delays. Here state machine 0 is stepped by the divider that the
    // firmware has set, and each instruction lasts one cycle and its delay (data sheet, section 3.2.7).
    const pio = chip.pio[0];
    pio.run = () => {};
    let pioDue = 0;
    let delay = 0;
    function stepPio() {
        const machine = pio.machines[0];
        if (!machine.enabled) {
            pioDue = now();
            return;
        }
        const cycle = 8 * (machine.clockDivInt + machine.clockDivFrac / 256);
        for (; pioDue <= now(); pioDue += cycle) {
            if (delay > 0) {
                delay--;
                continue;
            }
            pioNow = pioDue;
            const instruction = pio.instructions[machine.pc];
            machine.step();
            pio.checkChangedPins();
            if (!machine.waiting) delay = (instruction >> 8) & 15;
        }
    }
    let pioNow = 0;
    const uart = chip.uart[0];
    uart.onByte = (byte) => sent.push(byte);
    let due = 0;
    outputs.forEach((output, at) =>
        chip.gpio[2 + at].addListener((state, old) => {
            if (state < 2 && state !== old) output.edge(state, pioNow);
        }),
    );
    press = (down) => chip.gpio[15].setInputValue(!down); // a pull-up, and a contact to ground
    press(false);
    step = () => {
        const cycles = chip.core.executeInstruction();
        simulator.clock.tick(cycles * 8);
        stepPio();
        if (waiting.length && now() >= due) {
            uart.feedByte(waiting.shift());
            due = now() + BYTE_NS;
        }
    };
}

function runFor(ms, until = () => false) {
    const end = now() + ms * 1e6;
    while (now() < end && !until()) step();
}

const commands = {
    feed(hex) {
        waiting.push(...Buffer.from(hex, "hex"));
        return {};
    },
    run(ms) {
        runFor(Number(ms));
        return {};
    },
    line(ms) {
        runFor(Number(ms), () => sent.includes(10));
        const end = sent.indexOf(10);
        return { line: end < 0 ? null : Buffer.from(sent.splice(0, end + 1).slice(0, -1)).toString("hex") };
    },
    press(ms) {
        press(true);
        runFor(Number(ms));
        press(false);
        runFor(Number(ms));
        return {};
    },
    shift(hex) {
        fitShift(Buffer.from(hex, "hex"));
        return {};
    },
    frame(output) {
        return outputs[Number(output)].bytes(now());
    },
    times(output) {
        const times = outputs[Number(output)].times;
        outputs[Number(output)].clear();
        return times;
    },
    now() {
        return { ns: now() };
    },
};
for await (const line of createInterface({ input: process.stdin })) {
    const [word, argument] = line.split(" ");
    process.stdout.write(JSON.stringify(commands[word](argument)) + "\n");
}
