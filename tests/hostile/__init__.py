"""Hostile files, names, boards and terminals: what has to hold whatever comes from outside.

`python -m tests.hostile` tries every property and prints a line for each.
"""
