"""The recheck as an activity: from a chain of the map to questions and back to a proved map."""
