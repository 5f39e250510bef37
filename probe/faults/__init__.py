"""The fault finder: causes, observations and the next best question."""
