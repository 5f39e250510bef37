"""What a task is: a frozen state, a pure step, the light that belongs to the state, and what is to be seen of it.

Everything a person does with a map is a task, and every task has this shape, so that the promises (saved then lit, lit
means confirmed, light is a value, nothing dropped) are kept in one place, the runtime, and held by one contract suite.
Pure: no clock, board, file or screen is known here, and time enters a step as an argument.

What others use:

- `task`: `Task` (`step`, `light`, `view`), `TaskState` (`map`, `board`, `unsaved`, `message`, which the runtime keeps
  true), `BoardView`, `Next` (what a step returns); `Opened`, what a task's `make` is given, and `CannotOpenError`.
- `events` (as `ev`): what a person did that all tasks know, and facts of the board, the line and the disk. A task adds
  its own beside itself.
- `effects` (as `fx`): what a step asks for, carried out in order: `Commit` a map, `Ask` the board, `Open` and `Close`
  tasks, `Job` off the loop. Light is no effect.
- `light`: what should be lit, as a value: `Dark`, `Pixels`, `BoardPattern`, `Alternate`, `ByTable`, `Game`,
  `HandsOff`, ….
- `command.Command`: what a key means, once: a row that holds the event itself. Footer, menu, help and settings come
  from it.
- `views`: `TaskView`, `RowsView`, `FormView` and their parts; one of three screens draws them.
- `screen`: events that the screen itself answers; a task never sees them.
"""
