"""What lies between two evenings: what is left, what was done, and the one guided way back after a board died. Pure tasks.

| file | what others use |
|---|---|
| `worklist` | `all_left(map_)`: every line of the worklist, the plan's and the harness's too; the task that ticks them off |
| `log` | `evenings(map_)`: what was done on which evening, how long, what was left; the task that shows them |
| `restore` | the task that leads a new board from its build options to the proof, from the map alone |

The lines themselves, as far as the map alone says them, are made in `probe.document.needs`: home shows the first of the same list.
"""
