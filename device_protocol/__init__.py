"""The probe line protocol (SPEC.md): codec, the host's session, the board's half and a simulated board.

Nothing in this package opens a port, reads a clock, starts a thread or an event loop: bytes and times come in as
arguments (`now_ms`: any steady clock in ms), bytes and events go out.

Host
    session = HostSession()
    data = session.connect(now_ms)              bytes to send; ends in the event Identified or GaveUp
    data = session.send(order, now_ms)          one order in flight; HostFault when not `session.ready` or not for this
                                                board (`session.check(order)` asks without sending)
    events = session.receive_data(data, now_ms)
    data, events = session.tick(now_ms)         when `session.next_deadline_ms()` has come: asks again or gives up.
                                                Look at the deadline anew after every receive_data
    session.keep_alive_due_ms(), .keep_alive_order()    what to send when nothing else is to be sent
    session.close()                             the line is gone
    session.identity, .settings, .statistics (.verdict: SILENT, WRONG_SPEED, OTHER_DEVICE, ECHO, NOISY, SOUND)

Orders (frozen values)      answered with
    Identify()                                                  Identity
    LightPixel(output, pixel, Colour(red, green, blue, white=0)) Done
    LightRange(output, first, count, colour)                         Done
    Darken(output) or Darken() for all                              Done
    Alive()                                                     Done
    SetupOutput(output, count, byte_order, ceiling_ma, latch_us=300)  OutputSettings
    ReadOutputState(output)                                          OutputState
    Silence(silence_ms)                                         SilenceSet
    Palette(output, first, colours)                             Done
    Paint(output, offset, entries)                              Staged
    Show(output)                                                Done
    ReadTableState()                                            TableState
    WriteTable(offset, data), ReadTable(offset, count)          BytesStaged, TableBytes
    CommitTable(length, crc, revision), EraseTable()            Committed, Done
    table_orders(encode_table(table), revision), table_read_orders(length)      whole tables as lists of orders
    Play(player), LightLamp(lamp, level), LightGroup(group, level)              PlayState, PixelsLit
    RunPattern(output, kind, colours, step_ms, sending, keep), ReadPattern(output) Done, PatternState or NoPattern
    ReadInputs(first), ReadEdges(first)                         InputStates, EdgeCounts
    Linger(linger_ms), WatchInputs(on)                          LingerSet, Done
    CountChain(output, sent, times)                             ChainCount
    picture_orders(output, colours, line_limit=..., features=...)    any picture as a list of orders
    dim_to_ceiling(colours, idle_ua=..., channel_ua=..., ceiling_ma=...), need_ma(...), exceeds_ceiling(...)

Events
    Identified(identity)             settings and light unknown: set up
    OrderAnswered(order, reply, asks)    carried out; what it lights is lit
    Refused(order, error)           .code, .blame, .field("need"); nothing changed
    Misanswered(order, fault)       the answer makes no sense
    Interrupted(order, reason)      board restarted under it, or line closed
    GaveUp(order, reason, statistics, asks)     board lost: connect again
    Unreadable(reason, length)      a line was damaged or strange
    RestartNotice(cause, inferred)      all dark, all settings lost
    ButtonNotice(total, presses)   `presses` are new
    DarkNotice(), InputsNotice(first, on), PlayNotice(), UnknownNotice(word, fields)

Board
    board = SimulatedBoard(BoardConfig(outputs=2), [ChainWiring.of_places(["a", "b"])], resets_on_open=True)
    data = board.open_port(now_ms), .receive_data(data, now_ms), .tick(now_ms), .press_button(now_ms)
    board.next_deadline_ms(), .restart(cause, now_ms), .mark_lost_bytes(), .frames[output]
    board.lit(), .seen(place), .shown(output), .wiring(output), .rewire(output, wiring)
    ChainWiring: .spliced_in .removed .reversed_run .swapped .moved .without_light .with_dead_output .missing
    ProtocolBoard is the same without pixels.
"""
