"""Shared reckoning: entropy, best next question, human time."""
