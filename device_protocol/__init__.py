"""The probe line protocol (SPEC.md): orders and replies, the host's session, the board's half and a simulated board.

Nothing in this package opens a port, reads a clock, starts a thread or an event loop: bytes and times come in as
arguments (`now_ms`: any steady clock in ms), bytes and events go out. Nothing is imported here; import from

    orders      every order, reply and notice as a value; whole pictures and tables as lists of orders
    session     HostSession: the host's half
    events      what the session returns
    board       ProtocolBoard, SimulatedBoard, BoardConfig, ChainWiring: the board's half
    lamp_table  the lamp table as bytes
    current     the current that a picture needs, and dimming to a ceiling
    lightness   levels even to the eye, and the duty of each
    values      Colour, numbers, and the bounds of everything that is stated
    framing     lines and checksums; what the line looks like
    errors      error codes, HostFault, BoardFault

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

Events
    Identified(identity)                        settings and light unknown: set up
    OrderAnswered(order, reply, asks)           carried out; what it lights is lit
    Refused(order, error)                       .code, .blame, .field("need"); nothing changed
    Misanswered(order, fault)                   the answer makes no sense
    Interrupted(order, reason)                  board restarted under it, or line closed
    GaveUp(order, reason, statistics, asks)     board lost: connect again
    Unreadable(reason, length)                  a line was damaged or strange
    and the notices of `orders`: RestartNotice (all dark, all settings lost), ButtonNotice, DarkNotice, InputsNotice, ...
"""
