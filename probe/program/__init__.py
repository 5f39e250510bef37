"""Tasks about the program itself, which need no map: its settings, and its guide.

- `settings`: what can be set, what each does, and the form to change it in.
- `guide`: the guide's pages, to be read inside.

Both have a `make` for the table of tasks, and keep whatever is lit below them.
"""
