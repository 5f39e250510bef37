"""Widgets of the program's own."""
