"""Planning: how chains run with least wire, where pixels are spliced in, and whether the wire is long enough.

Pure, and numpy and scipy are imported only where something is computed. What others use:

| module | what |
|---|---|
| `routes` | shortest ways round keep-outs |
| `search` | good orders of seats, and how they are improved |
| `bound` | lower bounds and proofs |
"""
