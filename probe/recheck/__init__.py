"""The recheck, and the search for the number at a place: after a change, the map right again by a few answers.

`engine` knows whole numbers only: what is believed of a chain, which question is worth most, when nothing more is asked. The
rest joins it to a map and a person.

- `keys`: what a person can do, and the commands of both tasks. It loads nothing of the inference.
- `task`: the recheck (`make`, `RecheckFacts`); `state` and `view` are its state and what is to be seen of it.
- `find`: which number is at this place (`make`).
- `entries`: a chain of the map as the inference sees it, and what was found back as a map.
- `kept`: every answer as the map keeps it, so that a recheck goes on where it was.
- `colours`: the four colours of a look as light, sign and word.
"""
