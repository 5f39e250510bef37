"""The runtime: a stack of tasks, events in, effects out, light kept true on the board. No Textual.

| file | what |
|---|---|
| `runtime` | the stack: `Runtime`, `OpenTask`, `Maker` |
| `light_orders` | a light as orders to a board |
| `ending` | how the program ends: dark, saved, terminal as it was found |
| `words` | failures of the line in words for the person |
"""
