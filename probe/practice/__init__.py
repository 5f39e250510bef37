"""The world of a practice round: a model of a wired chain with planted faults, eyes that look at it, hands that measure.

Nothing here knows the fault finder or its tables, so that the finder can be tried against it; it is given causes by id
with their weights, and questions that say what is asked (`person.Asked`). What a chip makes of the byte stream is in
`probe.patterns.chips`, for both.

What others use:

- `round`: `PracticeRound` (a planted fault with its board, its map, and the replies to questions), `PracticeBoard`,
  `CHAIN`, `SIGN_WORDS`.
- `plant`: `plant`, `plant_any`, `Planted`, `PLANTERS`: faults by cause, numbers drawn from a seed.
- `person`: `SimulatedPerson`, `PersonReply`: what one would answer or read, some of it wrong if wanted.

Within: `wiring` (the model's parts), `behaviour` (volts by a resistive ladder, data chip by chip), `eyes` (which picture
fits). Lengths are in metres; volts, ohms and amperes throughout.
"""
