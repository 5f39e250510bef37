"""All that passes between host and board, as frozen values: orders, replies, notices (SPEC sections 5 and 7).

Each order knows its words, the feature it belongs to, how a board reads its arguments (`read`) and how the host reads its
reply (`parse_reply`); each reply and notice knows its fields. Making an order checks what holds for every board; what
depends on the board in hand (outputs, count, ceiling) is the board's to refuse.

    Identify()                                                        Identity
    LightPixel(output, pixel, colour), LightRange(output, first, count, colour), Darken(output) or Darken()    Done
    SetupOutput(output, count, byte_order, ceiling_ma, latch_us)      OutputSettings
    ReadOutputState(output)                                           OutputState
    Alive(), Silence(silence_ms)                                      Done, SilenceSet
    ReadBack(output, pixel)                                           PixelBytes
    Palette(output, first, colours), Paint(output, offset, entries), Show(output)      Done, Staged, Done
    RunPattern(output, kind, colours, step_ms, sending, keep), ReadPattern(output)     Done, PatternState or NoPattern
    CountChain(output, sent, times)                                   ChainCount
    ReadTableState(), WriteTable(offset, data), ReadTable(offset, count)     TableState, BytesStaged, TableBytes
    CommitTable(length, crc, revision), EraseTable()                  Committed, Done
    Play(player), LightLamp(lamp, level), LightGroup(group, level)    PlayState, PixelsLit
    ReadInputs(first), ReadEdges(first), Linger(linger_ms), WatchInputs(on)  InputStates, EdgeCounts, LingerSet, Done

Whole pictures and tables as lists of orders: `picture_orders`, `table_orders`, `table_read_orders`.
Notices: RestartNotice, ButtonNotice, DarkNotice, InputsNotice, PlayNotice, UnknownNotice; `parse_notice` reads them.
"""

from device_protocol.orders.base import ArgumentLimits, ArgumentReader, Done, Order, Reply
from device_protocol.orders.game import (
    EDGES_A_REPLY,
    INPUTS_A_REPLY,
    EdgeCounts,
    InputStates,
    LightGroup,
    LightLamp,
    Linger,
    LingerSet,
    PixelsLit,
    Play,
    Player,
    PlayState,
    ReadEdges,
    ReadInputs,
    WatchInputs,
)
from device_protocol.orders.identity import (
    FEATURES,
    PROTOCOL_VERSION,
    Alive,
    Identify,
    Identity,
    OtherVersionFault,
    RestartCause,
    Silence,
    SilenceSet,
    parse_identity,
)
from device_protocol.orders.light import (
    COLOURS_A_LINE,
    PALETTE,
    Darken,
    LightPixel,
    LightRange,
    OutputSettings,
    OutputState,
    Paint,
    Palette,
    PixelBytes,
    ReadBack,
    ReadOutputState,
    SetupOutput,
    Show,
    Staged,
)
from device_protocol.orders.notices import (
    ButtonNotice,
    DarkNotice,
    InputsNotice,
    Notice,
    PlayNotice,
    RestartNotice,
    UnknownNotice,
    parse_notice,
)
from device_protocol.orders.pattern import (
    ChainCount,
    CountChain,
    NoPattern,
    PatternKeep,
    PatternKind,
    PatternLine,
    PatternState,
    ReadPattern,
    RunPattern,
)
from device_protocol.orders.picture import palette_of, picture_orders
from device_protocol.orders.table import (
    IMAGE_LEAST,
    READ_BYTES,
    WRITE_BYTES,
    BytesStaged,
    CommitTable,
    Committed,
    EraseTable,
    ReadTable,
    ReadTableState,
    TableBytes,
    TableState,
    WriteTable,
    table_orders,
    table_read_orders,
)

ORDER_TYPES: dict[str, type[Order]] = {
    kind.WORD: kind
    for kind in (
        Identify,
        Alive,
        Silence,
        LightPixel,
        LightRange,
        Darken,
        SetupOutput,
        ReadOutputState,
        Palette,
        Paint,
        Show,
        ReadBack,
        RunPattern,
        ReadPattern,
        CountChain,
        ReadTableState,
        WriteTable,
        ReadTable,
        CommitTable,
        EraseTable,
        Play,
        LightLamp,
        LightGroup,
        ReadInputs,
        ReadEdges,
        Linger,
        WatchInputs,
    )
}
"""Every order of the SPEC by its word."""

__all__ = [
    "COLOURS_A_LINE",
    "EDGES_A_REPLY",
    "FEATURES",
    "IMAGE_LEAST",
    "INPUTS_A_REPLY",
    "ORDER_TYPES",
    "PALETTE",
    "PROTOCOL_VERSION",
    "READ_BYTES",
    "WRITE_BYTES",
    "Alive",
    "ArgumentLimits",
    "ArgumentReader",
    "ButtonNotice",
    "BytesStaged",
    "ChainCount",
    "CommitTable",
    "Committed",
    "CountChain",
    "DarkNotice",
    "Darken",
    "Done",
    "EdgeCounts",
    "EraseTable",
    "Identify",
    "Identity",
    "InputStates",
    "InputsNotice",
    "LightGroup",
    "LightLamp",
    "LightPixel",
    "LightRange",
    "Linger",
    "LingerSet",
    "NoPattern",
    "Notice",
    "Order",
    "OtherVersionFault",
    "OutputSettings",
    "OutputState",
    "Paint",
    "Palette",
    "PatternKeep",
    "PatternKind",
    "PatternLine",
    "PatternState",
    "PixelBytes",
    "PixelsLit",
    "Play",
    "PlayNotice",
    "PlayState",
    "Player",
    "ReadBack",
    "ReadEdges",
    "ReadInputs",
    "ReadOutputState",
    "ReadPattern",
    "ReadTable",
    "ReadTableState",
    "Reply",
    "RestartCause",
    "RestartNotice",
    "RunPattern",
    "SetupOutput",
    "Show",
    "Silence",
    "SilenceSet",
    "Staged",
    "TableBytes",
    "TableState",
    "UnknownNotice",
    "WatchInputs",
    "WriteTable",
    "palette_of",
    "parse_identity",
    "parse_notice",
    "picture_orders",
    "table_orders",
    "table_read_orders",
]
