"""Test patterns and what pixels make of them: pure, without a clock or a board.

A pattern is a function from a step, or a time, to a picture, and a picture is what every pixel of one chain has to
show. The board can run most patterns by its own clock; where it cannot, or where a person goes key by key, the
pictures are sent from here. What a pixel really shows depends on the chip: it takes its own bits from the stream and
passes the rest on, so a wrong byte order or count has a look of its own, which the fault finder and the practice world
compute with the same functions.

What others use:

- `patterns`: `PatternName` and `pattern` (one by name, with what it shows, in words), its `frame` at a step, `steps`,
  `step_at` by time, `steady` for people whom change harms; `LOAD_SHARES` and `HOLDS_THROUGH_SILENCE`, what a pattern
  draws and outlasts.
- `pictures`: `Picture`, a chain's colours pixel by pixel, and the level that a ceiling leaves; `whole` and `single`
  make one.
- `flash.FlashLimiter`: at most three flashes a second, for pictures sent one by one from here, because flashing
  can harm people; `limited` does the same for a pattern that a board runs.
- `chips`: `stream`, the bytes of a picture; `shown`, what a row of pixels makes of bytes; the byte orders there are.
"""
