"""Tests of what goes from the map to the machine."""
