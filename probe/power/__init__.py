"""Volts, amperes, fuses and wire of the 5 V side."""
