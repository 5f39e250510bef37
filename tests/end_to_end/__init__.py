"""The whole program, from inputs to pixels and files."""
