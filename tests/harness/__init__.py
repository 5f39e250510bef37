"""Tests of the power reckoning."""
