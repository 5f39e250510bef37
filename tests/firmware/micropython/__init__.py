"""Running the MicroPython board."""
