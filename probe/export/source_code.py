"""The lamp table as source code for boards whose program is compiled or run from source: a C header, a Python module.

Both hold the same rows: each lamp by number, then each group, with the pixels it lights and the duty each is sent
(level and colour of the map with gamma applied, SPEC 12.1). Names of constants come from labels: valid in C and
Python, unlike each other, and the same every time. C11 5.2.4.1 promises 31 significant characters of a name with
external linkage and 63 of others; names made here differ within 31. They begin with a prefix of ours, in capitals, so
none is a keyword or reserved (C11 7.1.3). Labels themselves stand in comments only, cleaned of everything that could end
a comment. Same map, same bytes.
"""

from __future__ import annotations

import re
import unicodedata
import zlib
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from device_protocol.values import Colour
from probe.document.lamp_table import TablePixel, lamp_table
from probe.document.model import Chain, PlayfieldMap

_ACROSS = 12
SIGNIFICANT = 31
_MARK = 7


# -- names ------------------------------------------------------------------------------------------------------------


def plain_part(label: str) -> str:
    """What of a label may stand in a name: ASCII capitals, digits and single underscores; perhaps nothing."""
    plain = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode().upper()
    return re.sub(r"[^A-Z0-9]+", "_", plain).strip("_")


def numbered_name(prefix: str, number: int, label: str) -> str:
    """A name that the number alone keeps apart from others: `LAMP_14_REEF_LANE_2`. Other lamps never change it."""
    head = f"{prefix}_{number}"
    return f"{head}_{plain_part(label)}"[:SIGNIFICANT].rstrip("_")


def labelled_names(prefix: str, labels: Mapping[str, str]) -> dict[str, str]:
    """For each key: a name made from its label.

    A label that is too long, or that would give the name of another one, gets six digits computed from its key, so that
    the order of the labels does not matter.
    """
    whole = {key: f"{prefix}_{plain_part(label)}".rstrip("_") for key, label in labels.items()}
    count = Counter(whole.values())
    made: dict[str, str] = {}
    for key, name in whole.items():
        if len(name) <= SIGNIFICANT and count[name] == 1:
            made[key] = name
    taken = set(made.values())
    for key in sorted(key for key in whole if key not in made):
        turn = 0
        while True:
            digits = f"{zlib.crc32(f'{key}{chr(0) * turn}'.encode('utf-8', 'surrogatepass')) & 0xFFFFFF:06X}"
            name = f"{whole[key][: SIGNIFICANT - _MARK].rstrip('_')}_{digits}"
            if name not in taken:
                break
            turn += 1
        taken.add(name)
        made[key] = name
    return {key: made[key] for key in labels}


_IN_COMMENT = re.compile(r"[^A-Za-z0-9 .,:;()+=_'#<>!@|~^&$%-]")


def comment_text(label: str, limit: int = 60) -> str:
    """A label inside a comment: one line of plain ASCII in which nothing ends a comment, joins lines or forms a trigraph."""
    text = unicodedata.normalize("NFKD", label)
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = " ".join(_IN_COMMENT.sub("_", text).split())
    return text if len(text) <= limit else text[: limit - 3] + "..."


# -- rows -------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _PixelRow:
    """A lamp (its number) or a group (its index): the name of its constant, the label, its pixels."""

    number: int
    constant: str
    label: str
    pixels: tuple[TablePixel, ...]


def _rows(map_: PlayfieldMap) -> tuple[list[_PixelRow], list[_PixelRow]]:
    table = lamp_table(map_)
    lamps = [
        _PixelRow(row.number, numbered_name("LAMP", row.number, row.names[0] if row.names else ""), " / ".join(row.names), row.pixels)
        for row in table.lamps
    ]  # fmt: skip
    names = labelled_names("GROUP", {group.name: group.name for group in table.groups})
    groups = [
        _PixelRow(number, names[group.name], group.name, group.always_on) for number, group in enumerate(table.groups)
    ]
    return lamps, groups


def _chains(map_: PlayfieldMap) -> list[Chain]:
    return sorted((chain for chain in map_.chains if chain.length), key=lambda chain: chain.output)


def _head(map_: PlayfieldMap) -> list[str]:
    revision = lamp_table(map_).revision
    return [
        f"Lamp table of {comment_text(map_.machine.name)}, revision {revision}.",
        "Made by playfield-probe from its map: change the map and make this anew.",
        "Outputs and pixels are counted from 0. Colours are duties: gamma has been applied.",
    ]


# -- C ----------------------------------------------------------------------------------------------------------------

_C_FLASH = """\
#include <stdint.h>
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define TABLE_FLASH PROGMEM
#define table_byte(address) pgm_read_byte(address)
#define table_word(address) pgm_read_word(address)
#else
#define TABLE_FLASH
#define table_byte(address) (*(address))
#define table_word(address) (*(address))
#endif
"""

_C_LOOKUPS = """\
typedef struct {
    uint8_t output;
    uint16_t number;
    uint8_t red, green, blue, white;
} table_pixel;

/* Row of a lamp number, or -1 when the table has none. */
static inline int16_t table_find_lamp(uint16_t number)
{
    uint16_t low = 0, high = TABLE_LAMPS;
    while (low < high) {
        uint16_t middle = (uint16_t)(low + (uint16_t)(high - low) / 2u);
        uint16_t found = table_word(&table_lamp_number[middle]);
        if (found == number)
            return (int16_t)middle;
        if (found < number)
            low = (uint16_t)(middle + 1u);
        else
            high = middle;
    }
    return -1;
}

/* Row of a group, by its constant. */
static inline int16_t table_find_group(uint16_t group)
{
    uint16_t groups = TABLE_GROUPS;
    return group < groups ? (int16_t)(TABLE_LAMPS + group) : -1;
}

/* How many pixels a row has. */
static inline uint16_t table_row_length(int16_t row)
{
    if (row < 0 || row >= TABLE_ROWS)
        return 0;
    return (uint16_t)(table_word(&table_row_first[row + 1]) - table_word(&table_row_first[row]));
}

/* Pixel `index` of a row; index is below table_row_length(row). */
static inline table_pixel table_row_pixel(int16_t row, uint16_t index)
{
    uint16_t at = (uint16_t)(table_word(&table_row_first[row]) + index);
    table_pixel pixel;
    pixel.output = table_byte(&table_pixel_output[at]);
    pixel.number = table_word(&table_pixel_number[at]);
    pixel.red = table_byte(&table_pixel_duty[at][0]);
    pixel.green = table_byte(&table_pixel_duty[at][1]);
    pixel.blue = table_byte(&table_pixel_duty[at][2]);
    pixel.white = table_byte(&table_pixel_duty[at][3]);
    return pixel;
}

/* Pixels on an output, 0 when the table has no such chain. */
static inline uint16_t table_chain_length(uint8_t output)
{
    uint8_t at, chains = TABLE_CHAINS;
    for (at = 0; at < chains; at++)
        if (table_byte(&table_chain_output[at]) == output)
            return table_word(&table_chain_count[at]);
    return 0;
}
"""


def write_c_header(map_: PlayfieldMap) -> str:
    """The table as a C99 header: constant arrays (in flash memory on AVR) and look-ups. ASCII, lines ended by LF.

    Raises ValueError for a table that 16-bit indices cannot hold.
    """
    lamps, groups = _rows(map_)
    rows = [*lamps, *groups]
    pixels = [pixel for row in rows for pixel in row.pixels]
    if len(pixels) > 65_535 or len(rows) > 32_000:
        raise ValueError(
            f"{len(rows)} rows with {len(pixels)} pixels are too many for a header: 32000 and 65535 at most"
        )
    first = [0]
    for row in rows:
        first.append(first[-1] + len(row.pixels))
    chains = _chains(map_)
    lines = ["/* " + _head(map_)[0], *(f" * {line}" for line in _head(map_)[1:]), " */"]
    lines += ["#ifndef PLAYFIELD_TABLE_H", "#define PLAYFIELD_TABLE_H", "", _C_FLASH]
    lines += [f"#define TABLE_REVISION {lamp_table(map_).revision}UL"]
    lines += [f"#define TABLE_LAMPS {len(lamps)}", f"#define TABLE_GROUPS {len(groups)}"]
    lines += ["#define TABLE_ROWS (TABLE_LAMPS + TABLE_GROUPS)", f"#define TABLE_CHAINS {len(chains)}", ""]
    lines += ["/* Lamps by number, groups by their place in the table. */"]
    lines += [_define(row) for row in rows]
    lines += ["", "/* An array never is empty: a last element stands at the end of each. */"]
    lines += _array("uint16_t", "table_lamp_number", [row.number for row in lamps] + [65_535])
    lines += _array("uint16_t", "table_row_first", [*first, first[-1]])
    lines += _array("uint8_t", "table_pixel_output", [pixel.output for pixel in pixels] + [0])
    lines += _array("uint16_t", "table_pixel_number", [pixel.number for pixel in pixels] + [0])
    lines += _duties([pixel.duty for pixel in pixels] + [Colour(0, 0, 0)])
    lines += ["/* " + "; ".join(f"output {c.output}: {c.order}, {c.ceiling_ma} mA" for c in chains) + " */"]
    lines += _array("uint8_t", "table_chain_output", [chain.output for chain in chains] + [255])
    lines += _array("uint16_t", "table_chain_count", [chain.length for chain in chains] + [0])
    lines += ["", _C_LOOKUPS, "#endif", ""]
    return "\n".join(lines)


def _define(row: _PixelRow) -> str:
    label = f"  /* {comment_text(row.label)} */" if row.label else ""
    return f"#define {row.constant} {row.number}u{label}"


def _array(kind: str, name: str, values: Sequence[int]) -> list[str]:
    return [f"static const {kind} {name}[{len(values)}] TABLE_FLASH = {{", *_across(map(str, values)), "};"]


def _duties(colours: Sequence[Colour]) -> list[str]:
    cells = (f"{{{c.red}, {c.green}, {c.blue}, {c.white}}}" for c in colours)
    return [f"static const uint8_t table_pixel_duty[{len(colours)}][4] TABLE_FLASH = {{", *_across(cells, 4), "};"]


def _across(cells: Iterable[str], width: int = _ACROSS) -> list[str]:
    held = list(cells)
    return ["    " + ", ".join(held[at : at + width]) + "," for at in range(0, len(held), width)]


# -- Python -----------------------------------------------------------------------------------------------------------


def write_python_module(map_: PlayfieldMap) -> str:
    """The table as a Python module that MicroPython and CircuitPython can import: plain tuples and dicts. ASCII."""
    lamps, groups = _rows(map_)
    lines = [f"# {line}" for line in _head(map_)]
    lines += ["# A pixel is (output, number, (red, green, blue, white)).", ""]
    lines += [f"REVISION = {lamp_table(map_).revision}", ""]
    lines += ["# output: (count, order of bytes, ceiling in mA)", "CHAINS = {"]
    lines += [f"    {c.output}: ({c.length}, {c.order!r}, {c.ceiling_ma})," for c in _chains(map_)]
    lines += ["}", ""]
    lines += [_constant(row) for row in (*lamps, *groups)]
    for name, rows in (("LAMPS", lamps), ("GROUPS", groups)):
        lines += ["", f"{name} = {{"]
        for row in rows:
            lines.append(f"    {row.constant}: ({''.join(_pixel(pixel) for pixel in row.pixels).rstrip(' ')}),")
        lines.append("}")
    lines += [
        "", "", "def pixels_of_lamp(number):", "    return LAMPS.get(number, ())",
        "", "", "def pixels_of_group(number):", "    return GROUPS.get(number, ())", "",
    ]  # fmt: skip
    return "\n".join(lines)


def _constant(row: _PixelRow) -> str:
    return f"{row.constant} = {row.number}" + (f"  # {comment_text(row.label)}" if row.label else "")


def _pixel(pixel: TablePixel) -> str:
    c = pixel.duty
    return f"({pixel.output}, {pixel.number}, ({c.red}, {c.green}, {c.blue}, {c.white})), "
