"""The map file and settings on disk."""
