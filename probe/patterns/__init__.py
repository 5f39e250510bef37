"""Pictures and test patterns for a chain."""
