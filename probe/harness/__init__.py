"""Volts, amperes, fuses and wire of the 5 V side. Pure: no file, clock or screen.

| file | what |
|---|---|
| `wire` | AWG and metric copper: `Wire`, resistance of one conductor and of the loop |
| `conductor` | guidance for current in a wire, estimate of its temperature |
| `pixels` | figures of pixel kinds with sources, frame time, largest chain |
| `data_line` | logic level, parts at the head of a chain, USB alone |
| `ceiling` | the board's current ceiling in its own integers; dimming a picture to it |
| `protection` | supply size, blade fuses |
| `circuit`, `network` | the two-rail ladder in arrays, and its solution |
| `plan` | what the person enters: `PowerPlan`, `Chain`, `Feed`, `Supply` |
| `report`, `results`, `findings` | `report(plan)` -> `PowerReport`: all figures, and findings in words |
| `suggest` | `suggest_feed(plan)`: where one more feed helps most |
| `profile`, `picture`, `drawing` | voltage along a chain as characters and as SVG |
| `harness` | joints by wire function: what is wrong, what to join to what |
| `cautions` | what to read before planning, opening a joint, powering |
| `from_map` | `reckon(m)`: a map's notes as a plan, solved; what is assumed is said |
| `sheet` | `sheet_rows`, `harness_sheet_lines`: the joints of a map |
| `words`, `views` | the report in sections of lines and as data; the voltage picture of a map |
| `fields`, `entries` | what a person may enter: reading, showing, stepping, changing a map |
| `planning` | the activity behind the screens: every change saved first, and undone |

Errors: models raise pydantic's ValidationError, everything else `base.PowerError`; both are ValueErrors and say where,
what, and what to do.
"""
