"""The probe line protocol (SPEC.md): codec, the host's session, the board's half and a simulated board.

Nothing in this package opens a port, reads a clock, starts a thread or an event loop: bytes and times come in as
arguments (`now_ms`: any steady clock in ms), bytes and events go out.

Host
    session = HostSession()
    data = session.connect(now_ms)              bytes to send; ends in the event Connected or GaveUp
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
    Light(output, pixel, Colour(red, green, blue, white=0))     Done
    Range(output, first, count, colour)                         Done
    Dark(output) or Dark() for all                              Done
    Alive()                                                     Done
    Setup(output, count, byte_order, ceiling_ma, latch_us=300)  Settings
    State(output)                                               OutputState
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
    Connected(identity)             settings and light unknown: set up
    Answered(order, reply, asks)    carried out; what it lights is lit
    Refused(order, error)           .code, .blame, .field("need"); nothing changed
    Misanswered(order, fault)       the answer makes no sense
    Interrupted(order, reason)      board restarted under it, or line closed
    GaveUp(order, reason, statistics, asks)     board lost: connect again
    Unreadable(reason, length)      a line was damaged or strange
    Restarted(cause, inferred)      all dark, all settings lost
    ButtonPressed(total, presses)   `presses` are new
    WentDark(), InputsChanged(first, on), PixelsGivenBack(), UnknownNotice(word, fields)

Board
    board = SimulatedBoard(BoardConfig(outputs=2), [Wiring.of_places(["a", "b"])], resets_on_open=True)
    data = board.open_port(now_ms), .receive_data(data, now_ms), .tick(now_ms), .press_button(now_ms)
    board.next_deadline_ms(), .restart(cause, now_ms), .mark_lost_bytes(), .frames[output]
    board.lit(), .seen(place), .shown(output), .wiring(output), .rewire(output, wiring)
    Wiring: .spliced_in .removed .reversed_run .swapped .moved .without_light .with_dead_output .missing
    ProtocolBoard is the same without pixels.
"""

from device_protocol.board import BoardConfig, ProtocolBoard
from device_protocol.crc import crc16
from device_protocol.errors import Blame, BoardFault, ErrorCode, HostFault, ProtocolFault
from device_protocol.events import (
    Answered,
    Connected,
    Event,
    GaveUp,
    GaveUpReason,
    Interrupted,
    InterruptReason,
    Misanswered,
    Refused,
    Unreadable,
)
from device_protocol.framing import LEAST_LINE_LIMIT, ErrorLine, LineReader
from device_protocol.line_statistics import LineStatistics, LineVerdict
from device_protocol.messages import (
    FEATURES,
    PROTOCOL_VERSION,
    Alive,
    ButtonPressed,
    BytesStaged,
    ChainCount,
    CommitTable,
    Committed,
    CountChain,
    Dark,
    Done,
    EdgeCounts,
    EraseTable,
    Identify,
    Identity,
    InputsChanged,
    InputStates,
    Light,
    LightGroup,
    LightLamp,
    Linger,
    LingerSet,
    NoPattern,
    Notice,
    Order,
    OutputState,
    Paint,
    Palette,
    PatternKeep,
    PatternKind,
    PatternLine,
    PatternState,
    PixelsGivenBack,
    PixelsLit,
    Play,
    Player,
    PlayState,
    Range,
    ReadEdges,
    ReadInputs,
    ReadPattern,
    ReadTable,
    ReadTableState,
    Reply,
    RestartCause,
    Restarted,
    RunPattern,
    Settings,
    Setup,
    Show,
    Silence,
    SilenceSet,
    Staged,
    State,
    TableBytes,
    TableState,
    UnknownNotice,
    WatchInputs,
    WentDark,
    WriteTable,
    table_orders,
    table_read_orders,
)
from device_protocol.picture import (
    dim_to_ceiling,
    exceeds_ceiling,
    need_ma,
    need_ua,
    palette_of,
    picture_orders,
)
from device_protocol.session import HostSession, Phase
from device_protocol.simulated import Sighting, SimulatedBoard
from device_protocol.table_format import (
    Group,
    Lamp,
    LampTable,
    TableEntry,
    TableFormatError,
    TableLimits,
    TableOutput,
    decode_table,
    encode_table,
)
from device_protocol.values import DARK, Colour
from device_protocol.wiring import PhysicalPixel, PixelChain, Wiring

__all__ = [
    "DARK",
    "FEATURES",
    "LEAST_LINE_LIMIT",
    "PROTOCOL_VERSION",
    "Alive",
    "Answered",
    "Blame",
    "BoardConfig",
    "BoardFault",
    "ButtonPressed",
    "BytesStaged",
    "ChainCount",
    "Colour",
    "CommitTable",
    "Committed",
    "Connected",
    "CountChain",
    "Dark",
    "Done",
    "EdgeCounts",
    "EraseTable",
    "ErrorCode",
    "ErrorLine",
    "Event",
    "GaveUp",
    "GaveUpReason",
    "Group",
    "HostFault",
    "HostSession",
    "Identify",
    "Identity",
    "InputStates",
    "InputsChanged",
    "InterruptReason",
    "Interrupted",
    "Lamp",
    "LampTable",
    "Light",
    "LightGroup",
    "LightLamp",
    "LineReader",
    "LineStatistics",
    "LineVerdict",
    "Linger",
    "LingerSet",
    "Misanswered",
    "NoPattern",
    "Notice",
    "Order",
    "OutputState",
    "Paint",
    "Palette",
    "PatternKeep",
    "PatternKind",
    "PatternLine",
    "PatternState",
    "Phase",
    "PhysicalPixel",
    "PixelChain",
    "PixelsGivenBack",
    "PixelsLit",
    "Play",
    "PlayState",
    "Player",
    "ProtocolBoard",
    "ProtocolFault",
    "Range",
    "ReadEdges",
    "ReadInputs",
    "ReadPattern",
    "ReadTable",
    "ReadTableState",
    "Refused",
    "Reply",
    "RestartCause",
    "Restarted",
    "RunPattern",
    "Settings",
    "Setup",
    "Show",
    "Sighting",
    "Silence",
    "SilenceSet",
    "SimulatedBoard",
    "Staged",
    "State",
    "TableBytes",
    "TableEntry",
    "TableFormatError",
    "TableLimits",
    "TableOutput",
    "TableState",
    "UnknownNotice",
    "Unreadable",
    "WatchInputs",
    "WentDark",
    "Wiring",
    "WriteTable",
    "crc16",
    "decode_table",
    "dim_to_ceiling",
    "encode_table",
    "exceeds_ceiling",
    "need_ma",
    "need_ua",
    "palette_of",
    "picture_orders",
    "table_orders",
    "table_read_orders",
]
