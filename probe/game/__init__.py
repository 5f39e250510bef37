"""From the map to the machine: the game's lamps, the table in the board, the proof in the game.

The game knows lamps by number, the person knows places, the board knows pixels. Here the three are brought together:
places are joined to the lamps of the lamp list, the table that follows from it is written into the board and read
back, the game's inputs are watched live, and each lamp is lit by its number and looked at, so that the papers can say
who saw what when. All are tasks (`probe.task`): frozen state, pure step; no port, clock or thread.

What others use:

- `keys`: the commands of all tasks of this room, and the events that no other task knows. Light to import.
- `lamps.make`: the lamp list ("lamps"); `lamp_form.make`: the form of one row on top of it ("lamp").
- `pick.make`: picking a place by part of its name ("pick"), closed with the place's id or None.
- `sync.make`: the table in the board ("board"): read, compare, write, read back. The command line runs the same task:
  `BoardFacts` opens it, `Sync.stage` says how far it is (`SyncStage`), `obstacle` why nothing can be written.
- `watch.make`: the game's inputs live ("watch").
- `circuits`: a circuit for each kind of lamp drive, computed and drawn: `CIRCUITS`, `circuit_svg`, `circuit_lines`.
- `prove.make`: the final check in the game ("prove").

The names in quotes are those by which a task opens another (`effects.Open`). The table itself, and what is wrong with
it, is computed in `probe.document.lamp_table`; the board's form of it is `device_protocol.lamp_table`.
"""
