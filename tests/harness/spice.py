"""ngspice as an outside solver of the same network."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from probe.harness.network import FeedTap, Floats, GroundLink, Ladder, Source
from tests.support.tools import require


def ngspice_path() -> str:
    """The program. Raises MissingToolError."""
    require("ngspice")
    return shutil.which("ngspice") or "ngspice"


def netlist(
    *, ladders: Sequence[Ladder], taps: Sequence[FeedTap], sources: Sequence[Source], links: Sequence[GroundLink]
) -> str:
    """The network as an ngspice deck that prints every pixel's two node voltages."""
    lines = ["ladder", ".options reltol=1e-9 vntol=1e-11 abstol=1e-13 itl1=2000"]
    probes: list[str] = []
    for c, rail in enumerate(ladders):
        loads = rail.loads
        for k in range(len(loads.light_a)):
            plus, ground = f"p{c}_{k}", f"g{c}_{k}"
            probes += [plus, ground]
            vd, vr = float(loads.dark_volt[k]), float(loads.regulation_volt[k])
            if vd < 0:
                lines.append(f"I{plus} {plus} {ground} {float(loads.light_a[k] + loads.idle_a[k])!r}")
                continue
            v = f"(v({plus})-v({ground}))"
            lines.append(
                f"B{plus} {plus} {ground} I={float(loads.light_a[k])!r}*min(max(({v}-{vd!r})/{vr - vd!r},0),1)"
                f"+{float(loads.idle_a[k])!r}*min(max({v}/{vd!r},0),1)"
            )
        for k, (p, g) in enumerate(zip(rail.plus_ohm, rail.ground_ohm, strict=True)):
            if np.isfinite(p):
                lines.append(f"RP{c}_{k} p{c}_{k} p{c}_{k + 1} {float(p)!r}")
            lines.append(f"RG{c}_{k} g{c}_{k} g{c}_{k + 1} {float(g)!r}")
    for n, tap in enumerate(taps):
        lines.append(f"RFP{n} sp{tap.supply} p{tap.chain}_{tap.pixel} {tap.plus_ohm!r}")
        lines.append(f"RFG{n} sg{tap.supply} g{tap.chain}_{tap.pixel} {tap.ground_ohm!r}")
    for n, source in enumerate(sources):
        lines.append(f"VS{n} e{n} sg{n} {source.volt!r}")
        lines.append(f"RS{n} e{n} sp{n} {max(source.internal_ohm, 1e-9)!r}")
        lines.append(f"IL{n} sp{n} sg{n} {source.terminal_load_a!r}")
        # The reference: no current flows here, or next to none where grounds are joined elsewhere.
        lines.append(f"RREF{n} sg{n} 0 {1e-3 if n == 0 else 1e8!r}")
    for n, link in enumerate(links):
        lines.append(f"RL{n} sg{link.first} sg{link.second} {link.ohm!r}")
    lines += [".control", "set numdgt=15", "op"]
    lines += [f"print v({probe})" for probe in probes]
    lines += ["quit", ".endc", ".end"]
    return "\n".join(lines) + "\n"


def pixel_volts(
    folder: Path,
    *,
    ladders: Sequence[Ladder],
    taps: Sequence[FeedTap],
    sources: Sequence[Source],
    links: Sequence[GroundLink] = (),
) -> list[Floats]:
    """Voltage across every pixel of every chain as ngspice finds it."""
    deck = folder / "ladder.cir"
    deck.write_text(netlist(ladders=ladders, taps=taps, sources=sources, links=links), encoding="ascii")
    done = subprocess.run([ngspice_path(), "-b", str(deck)], capture_output=True, text=True, timeout=120, check=False)
    found = {name: float(value) for name, value in re.findall(r"v\(([pg]\d+_\d+)\) = (\S+)", done.stdout)}
    result = []
    for c, rail in enumerate(ladders):
        count = len(rail.loads.light_a)
        assert f"p{c}_{count - 1}" in found, f"ngspice gave no answer:\n{done.stdout[-800:]}\n{done.stderr[-800:]}"
        result.append(np.array([found[f"p{c}_{k}"] - found[f"g{c}_{k}"] for k in range(count)]))
    return result
