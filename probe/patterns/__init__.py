"""Test patterns and what pixels make of them: pure, without a clock or a board.

What others use:

- `patterns`: `pattern` by name, its `frame` at a step, `steps`, `step_at` by time, `steady` for people whom change harms.
- `pictures`: a chain's colours pixel by pixel, and the level that a ceiling leaves.
- `flash`: the limit of three flashes a second, for whatever is sent from here.
- `chips`: the bytes of a picture, and what a row of pixels makes of bytes.
"""
