"""playfield-probe: map, recheck and prove chains of addressable LEDs under a playfield."""

__version__ = "0.1.0"
