"""Tests of the survey steps."""
