"""What is dangerous and what clears it, written a second time by hand: the finder's tables are not asked."""

from __future__ import annotations

OHMS, PLUG, JOINT, HIGH = "ohms", "plug", "joint", "high"
DANGER = {
    ("heat", "yes"): {OHMS, PLUG, JOINT, HIGH},
    ("volts-first", "reversed"): {OHMS, PLUG, JOINT},
    ("volts-first", "none"): {OHMS, JOINT},
    ("volts-first", "high"): {HIGH},
    ("volts-last", "reversed"): {OHMS, JOINT},
    ("volts-last", "none"): {OHMS, JOINT},
    ("volts-last", "high"): {HIGH},
    ("supply-ohms", "short"): {OHMS},
    ("supply-ohms", "low"): {OHMS},
    ("volts-supply", "reversed"): {OHMS, PLUG, JOINT},
    ("volts-supply", "none"): {OHMS, JOINT},
    ("volts-supply", "high"): {HIGH},
    ("pads-first", "data-gnd"): {PLUG},
    ("pads-first", "data-five"): {PLUG},
    ("pads-first", "five-gnd"): {PLUG, OHMS},
    ("pads-next", "data-gnd"): {JOINT},
    ("pads-next", "data-five"): {JOINT},
    ("pads-next", "five-gnd"): {JOINT, OHMS},
    ("pads-joints", "data-gnd"): {JOINT},
    ("pads-joints", "data-five"): {JOINT},
    ("pads-joints", "five-gnd"): {JOINT, OHMS},
    ("fuse-ohms", "open"): {OHMS, PLUG, JOINT},
    ("supply-lamp", "blinks"): {OHMS, JOINT},
    ("supply-open", "reversed"): {PLUG, OHMS},
    ("supply-open", "high"): {HIGH},
}
SAFE = {
    ("supply-ohms", "free"): OHMS,
    ("pads-first", "right"): PLUG,
    ("pads-joints", "right"): JOINT,
    ("supply-open", "good"): HIGH,
}
