"""The map: its records, what can be done with them, and the one open document with its file.

Pure, for every room above:

- `model`: the records of a map, frozen; `operations` (answers), `edits` (splicing; in words: `edit_text`), `wiring`,
  `joining` (the lamp list: places to its rows, another list into it), `proving`: a map and a change in, a new map out. `follow` keeps joints
  and feeds at their pixels.
- `diff`: what differs, and the way back; `revisions`: the history made of it; `change_words` and `reasons` put it in words.
- `checks`: what is wrong, doubtful or unfinished, and where. `lamp_table`, `board_table`: what each lamp lights.
- `outside_text`: text from people, files and boards, made harmless for paper, terminal or screen.

Not for tasks, which change a map by effects: `document`, the one open map with its save state, undo and redo; `file`, how
it comes to and from disk, whole or not at all; `settings`, what is remembered between runs.

Nothing is imported here: whoever needs one of these imports it by its name.
"""
