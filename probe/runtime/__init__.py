"""The runtime: a stack of tasks, events in, effects out, light kept true on the board. No Textual.

| file | what |
|---|---|
| `runtime` | the stack: `Runtime`, `OpenTask`, `Maker` |
| `light_orders` | a light as orders to a board, and a refusal in words |
| `ending` | how the program ends: dark, saved, terminal as it was found |
"""
