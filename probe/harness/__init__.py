"""The harness: supplies, feeds, joints and wire of the 5 V side. Pure: no file, clock or screen.

What is noted lives in the map as records (`probe.document.model.harness`). This room computes from them, never the other
way round: the electrical view (`plan`), its solution (`network`, `report`), what it means (`checks`), and the joints by
wire function (`joints`). Nothing here keeps a copy of the map.

| file | what others use |
|---|---|
| `from_map` | `compute(map_)` -> `MapPower`: a map's plan, solved, with what is assumed |
| `joints` | `sheet_rows`, `joint_view`, `check_joint`: joints by wire function, what is wrong, what to join to what |
| `words` | both as sections of lines and as data: `power_sections`, `as_data`, `harness_sheet_lines`, `harness_data` |
| `parts` | `cut_list`, `parts_list`: wires with the labels of both ends, every part counted |
| `picture` | voltage along a chain: `profile_of`, and as characters `picture`, `text_picture` |
| `entries` | what a person may enter: reading, showing, stepping, changing a map |
| `power_up`, `bench` | first power-up in stages, and a new batch on the bench: what is lit, measured and asked, what it means and bars |
| `planning`, `planning_keys` | the tasks behind the screens: power plan, sheet, one joint, batches; their events and commands |
| `plan` | `PowerPlan`: the electrical view, every figure given |
| `report`, `checks` | `report(plan)` -> `PowerReport`, `suggest_feed(plan)`; `findings(report)` in words |
| `network` | `solve(circuit)`: the two-rail ladder in arrays |
| `copper` | wire, what it may carry, how warm it gets; supply sizes and fuses |
| `pixels` | figures of pixel kinds with sources, frame time; logic level, parts at the head, USB alone |

numpy and scipy are loaded by `network`, `report` and `picture` only, and by the others when figures are asked for.
Errors: models raise pydantic's ValidationError, everything else `base.PowerError`; both are ValueErrors and say where,
what, and what to do.
"""
