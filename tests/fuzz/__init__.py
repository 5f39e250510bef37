"""Fuzzing of everything that reads bytes from outside. `python -m tests.fuzz 1000000` is the long run."""
