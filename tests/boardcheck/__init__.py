"""Tests of the board check."""
