"""playfield-probe: map, recheck and prove chains of addressable LEDs under a playfield."""

import os

# Its matrices are small: threads of numpy's would wait for each other for longer than they work. Set before numpy is loaded.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
VERSION_LINE = f"playfield-probe {__version__}"
"""What `--version` prints."""
