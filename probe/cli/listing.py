"""Commands that only show something: ports, and what is wrong with a map."""

from __future__ import annotations

from probe.cli.outcome import Exit, say, say_folded, say_json


def show_ports(*, as_json: bool) -> int:
    """List the serial ports. None is opened."""
    from probe.link import list_ports

    ports = list_ports()
    if as_json:
        rows = [{"address": p.device, "name": p.name, "key": p.key} for p in ports]
        say_json(rows)
    elif not ports:
        say("No serial port found. Is the cable a data cable, and is the board plugged in?")
    else:
        width = max(len(p.device) for p in ports)
        for port in ports:
            say(f"{port.device:<{width}}  {port.name}")
    return Exit.FINE


def show_findings(path: str, *, as_json: bool, strict: bool) -> int:
    """Check a map. Exit code 1 if there are faults (with `strict`: warnings too)."""
    from probe.document.checks import Severity, check_map, where_words
    from probe.document.file import load_map
    from probe.document.plural import many

    map_ = load_map(path)
    findings = check_map(map_)
    bad = {Severity.FAULT, Severity.WARNING} if strict else {Severity.FAULT}
    if as_json:
        rows = [
            {
                "code": f.code,
                "severity": f.severity.value,
                "where": f.where.model_dump(exclude_none=True),
                "what": f.what,
                "what_to_do": f.what_to_do,
            }
            for f in findings
        ]
        say_json(rows)
    else:
        for f in findings:
            say_folded(f"{f.severity.value}: {where_words(map_, f.where)}: {f.what} - {f.what_to_do} [{f.code}]")
        counts = ", ".join(many(sum(f.severity is s for f in findings), s.value) for s in Severity)
        say(f"{counts}." if findings else "Nothing found.")
    return Exit.FINDINGS if any(f.severity in bad for f in findings) else Exit.FINE
