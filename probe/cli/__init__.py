"""The command line: one file a group of commands, all trouble one plain sentence and an exit code.

`parser` is the whole grammar and loads nothing else of the program, so that completion and help come at once; `run`
imports the file of the command that was asked for. What goes on is printed on the output stream, trouble on the error
stream (`outcome.complain`), and exit codes are `outcome.Exit`. All output leaves through `outcome`, which makes text from
files, boards and the command line harmless; nothing else here prints.

What others use:

- `parser.build_parser` and `run.run`: the program's entry (`probe.__main__`); nothing else is imported from outside.

Within: `screens` opens the full-screen program and `leaving` is the process around it (signals, last words); `editing`
holds a map locked from before it is read until it is saved, for every command that changes one (`lamps`, `revise`).
`exchange` reads and writes other formats; `listing`, `power`, `sheet` and `faults` only show or write out. `table` and `board_check` talk to a board
without a screen; `wire_log` writes down what went over the wire.
"""
