"""Frozen map models and the pure operations on them."""
