"""Tests of light: levels, lengths, evenness, and its screens."""
