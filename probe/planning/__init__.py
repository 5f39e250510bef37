"""Planning: how chains run with least wire, where pixels are spliced in, and whether the wire is long enough.

Before the solder: `plan` takes a map's places, keep-outs and rules and gives the order of the pixels with its stretches,
`search` finds good orders and `bound` says how far from the best they can be. Later: `splice` says where to cut in, what to do about a
dead pixel, and where wire is short. Pure: effort is counted, not timed. numpy and scipy are needed here, and nothing that the
first screen needs imports this room, except `keys`.

| module | what others use of it |
|---|---|
| `plan` | `brief_of`, `first_plan`, `Improver`, `Plan`, `compared`, `with_plan`, `planned_feeds`, `spare_seats`, `fewest_cuts`; `PlanError` |
| `splice` | `frontier`, `spliced`, `declared_words`, `repairs`, `slacks`, `missing_places` |
| `words` | lines, JSON and rows of a table of all these |
| `task`, `keys` | the screen: `make`, and its commands |
| `routes` | shortest ways round keep-outs |
| `search`, `bound` | `Network`, `TourSearch`, `first_order`; `Prover` |
"""
