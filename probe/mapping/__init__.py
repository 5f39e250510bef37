"""Making the map: setting up chains, the walk from pixel to pixel, the map as a table, and its revisions.

One pixel is lit, the person says what it lights, and the answer is in the map and on disk before the next one is lit.
All are tasks (`probe.task`): frozen state, pure step; no port, clock or thread.

What others use:

- `walk.make`: the walk ("walk"), the task at the bottom of the stack. `WalkFacts` holds its welcome;
  `walk_state.Walk` is its state, `walk_view.COMMANDS` its keys (its own events: `walk_keys`).
- `new_map.make`: setting up a new map ("setup"), opened with `SetupFacts`; its keys. `searches`: for a chain's
  byte order (`OrderSearch`) and count (`CountSearch`).
- `table.make`: every pixel a row ("table"), with its keys. `history.make`: revisions ("revisions"), with its keys.
- `offers.abbreviates`, `offers.next_in_pattern`: what a short text or the last labels stand for; also what makes the
  walk's offers.
- `tour`: the tour of the walk: `look` at a `Sight` of it moves a `Tour` on, `skip` passes over one sentence.

The names in quotes are those by which a task opens another (`effects.Open`). What an answer does to the map is in
`probe.document.operations`; nothing here keeps a map of its own.
"""
