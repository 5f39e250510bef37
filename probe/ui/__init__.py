"""The full-screen program."""
