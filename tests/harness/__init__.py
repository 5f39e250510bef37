"""Tests of the harness room."""
