"""The full-screen program: screens that draw what a task shows, and turn keys into its events.

Three screens draw every task (`task_screen`, `rows_screen`, `form_screen`; what they share is `command_screen`), by
the kind of its view (`probe.task.views`). They know nothing of maps, light or boards: a key is looked up in the task's
commands and its event dispatched to the runtime; when the runtime says that something has changed, the view is drawn
again. Only what has no task is drawn here itself: the start, help and cautions, the choice of a port, answers that
could not be saved, the tour.

What others use (the command line; a screen is the only thing for which Textual is imported):

- `app.ProbeApp(options, session, opener)`: the program. `MAKERS` there names what makes each task.
- `launch`: `LaunchOptions` and `Session`, what it is launched with; `Opener`, how it opens more. Screens know no files
  or ports.
- `start.PortChoice`: one way to reach a board.
- `keys.all_keys`: every key of the program, for settings that map them anew.

Within: `text` is the one door for text from people, files and boards; `themes` and `app.tcss` hold all colours;
`ascii_only` is for terminals without our signs; `terminal` is Textual's driver, made fit for slow and lost terminals;
`widgets/` holds what screens are made of; `practice` puts the fault finder and the practice world together, and `seen`
says what would be seen under the demo's glass.
"""
