"""Levels, colours and evenness."""
