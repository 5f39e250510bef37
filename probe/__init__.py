"""playfield-probe: map, recheck and prove chains of addressable LEDs under a playfield."""

__version__ = "0.1.0"
VERSION_LINE = f"playfield-probe {__version__}"
"""What `--version` prints."""
