"""Tests of the C firmware as compiled: host program, AVR build on a simulated chip, sketch."""
