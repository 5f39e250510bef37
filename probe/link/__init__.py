"""Wires to a board: serial, network and simulated."""
