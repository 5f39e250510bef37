"""Tests of the full-screen program, keys in and screens out."""
