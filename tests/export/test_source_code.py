"""The table as C and Python: compiled, linked, run and imported; labels can do no harm."""

from __future__ import annotations

import importlib.util
import keyword
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.file import demo_map_path, load_map
from probe.document.lamp_table import lamp_table
from probe.document.model import Chain, Lamp, Place, PlayfieldMap
from probe.document.model.game import Group
from probe.document.operations import add_chain, add_place, assign_place, new_map, set_lamps, update_place
from probe.export.source_code import (
    SIGNIFICANT,
    comment_text,
    labelled_names,
    numbered_name,
    write_c_header,
    write_python_module,
)
from tests.document.strategies import HOSTILE, labels, maps
from tests.firmware.build import build_folder
from tests.firmware.simulated_avr import SimulatedAvr
from tests.support.examples import first_now
from tests.support.tools import require

STRICT = ("-std=c99", "-Wall", "-Wextra", "-Werror", "-pedantic", "-Wcomment", "-Wtrigraphs", "-O1")
NASTY = (*HOSTILE, "*/", "/*", "//", "*/ int main(void) { return 1; }", "??/", "what??/", "end\\", "int", "class", "def",
         '"""', "'''", "#endif", "#", "while", "LAMP_1", "lamp 1", "Lamp  1", "ﬁ", "１２", "_x", "__x__", "\\u002a/", "")  # fmt: skip

MAIN = r"""
#include <stdio.h>
#include "table.h"
static void show(const char *kind, unsigned number, int16_t row)
{
    uint16_t i;
    if (row < 0)
        return;
    printf("%s %u", kind, number);
    for (i = 0; i < table_row_length(row); i++) {
        table_pixel p = table_row_pixel(row, i);
        printf(" %u:%u=%02X%02X%02X%02X", p.output, p.number, p.red, p.green, p.blue, p.white);
    }
    printf("\n");
}
int main(void)
{
    unsigned n;
    for (n = 0; n < 10000u; n++)
        show("lamp", n, table_find_lamp((uint16_t)n));
    for (n = 0; n < 100u; n++)
        show("group", n, table_find_group((uint16_t)n));
    for (n = 0; n < 16u; n++)
        if (table_chain_length((uint8_t)n))
            printf("chain %u %u\n", n, table_chain_length((uint8_t)n));
    return 0;
}
"""

AVR_MAIN = r"""
#include <avr/io.h>
#include "table.h"
static void put(char c)
{
    while (!(UCSR0A & (1 << UDRE0)))
        ;
    UDR0 = (uint8_t)c;
}
static void put_number(uint16_t value)
{
    char digits[5];
    uint8_t n = 0;
    do {
        digits[n++] = (char)('0' + value % 10u);
        value /= 10u;
    } while (value);
    while (n)
        put(digits[--n]);
}
static void put_hex(uint8_t value)
{
    put("0123456789ABCDEF"[value >> 4]);
    put("0123456789ABCDEF"[value & 15]);
}
static void show(char kind, uint16_t number, int16_t row)
{
    uint16_t i;
    if (row < 0)
        return;
    put(kind);
    put(' ');
    put_number(number);
    for (i = 0; i < table_row_length(row); i++) {
        table_pixel p = table_row_pixel(row, i);
        put(' ');
        put_number(p.output);
        put(':');
        put_number(p.number);
        put('=');
        put_hex(p.red);
        put_hex(p.green);
        put_hex(p.blue);
        put_hex(p.white);
    }
    put('\n');
}
int main(void)
{
    uint16_t n;
    UBRR0 = 8;
    UCSR0B = (1 << TXEN0) | (1 << RXEN0);
    for (n = 0; n < 100u; n++)
        show('l', n, table_find_lamp(n));
    for (n = 0; n < 100u; n++)
        show('g', n, table_find_group(n));
    put('.');
    put('\n');
    for (;;)
        ;
}
"""


def kelp_forest() -> PlayfieldMap:
    """The demo, with levels and colours."""
    map_ = load_map(demo_map_path("kelp_forest.json"))
    for at, place in enumerate(map_.places):
        update = {"level": at * 2, "colour": f"{(at * 997) % 0xFFFFFF:06X}"} if at % 3 else {}
        map_ = update_place(map_, place.model_copy(update=update))
    group = Group(name="always on, Reef", level=90, colour="FFB46400")
    return map_.model_copy(update={"groups": (group,)})


def nasty() -> PlayfieldMap:
    """A machine whose every name is hostile: each label a lamp and a group."""
    map_ = add_chain(new_map("*/ #error [/x] ??/"), Chain(id="a", name="*/", output=3, count=len(NASTY) * 2))
    lamps = []
    for at, label in enumerate(label for label in NASTY if label):
        map_, place = add_place(map_, label, lamps=(at,), group=label)
        map_ = assign_place(map_, "a", at, place.id)
        map_, glow = add_place(map_, label, group=label)
        map_ = assign_place(map_, "a", len(NASTY) + at, glow.id)
        lamps += [Lamp(number=at, name=label), Lamp(number=at, name=label[::-1])]
    return set_lamps(map_, lamps)


def lookups(map_: PlayfieldMap, *, short: bool = False) -> list[str]:
    """What the test programs have to say of a map, told from the map itself."""
    table = lamp_table(map_)
    lines = []
    for kind, rows in (
        ("l" if short else "lamp", [(row.number, row.pixels) for row in table.lamps]),
        ("g" if short else "group", [(at, row.always_on) for at, row in enumerate(table.groups)]),
    ):
        for number, pixels in rows:
            cells = "".join(
                f" {p.output}:{p.number}={p.duty.red:02X}{p.duty.green:02X}{p.duty.blue:02X}{p.duty.white:02X}"
                for p in pixels
            )
            lines.append(f"{kind} {number}{cells}")
    return lines


def compiled(folder: Path, header: str) -> Path:
    require("gcc")
    (folder / "table.h").write_text(header, encoding="ascii")
    (folder / "main.c").write_text(MAIN)
    subprocess.run(["gcc", *STRICT, "main.c", "-o", "program"], cwd=folder, check=True)
    return folder / "program"


MAPS: dict[str, Callable[[], PlayfieldMap]] = {
    "Kelp Forest": kelp_forest,
    "hostile labels": nasty,
    "nothing": lambda: new_map("Kelp Forest"),
}


@pytest.mark.parametrize("name", MAPS)
def test_c_look_ups_equal_the_map(name: str, tmp_path: Path) -> None:
    map_ = MAPS[name]()
    said = subprocess.run([compiled(tmp_path, write_c_header(map_))], capture_output=True, text=True, check=True).stdout
    chains = [f"chain {chain.output} {chain.length}" for chain in map_.chains]
    assert said.splitlines() == lookups(map_) + chains


@pytest.mark.parametrize("name", MAPS)
def test_the_header_alone_and_as_c_plus_plus_raises_no_warning(name: str, tmp_path: Path) -> None:
    require("gcc", "g++")
    (tmp_path / "table.h").write_text(write_c_header(MAPS[name]()), encoding="ascii")
    (tmp_path / "a.c").write_text('#include "table.h"\n#include "table.h"\n')
    subprocess.run(["gcc", *STRICT, "-c", "a.c", "-o", "a.o"], cwd=tmp_path, check=True)
    plus = ("-std=c++11", "-Wall", "-Wextra", "-Werror", "-x", "c++")
    subprocess.run(["gcc", *plus, "-c", "a.c", "-o", "b.o"], cwd=tmp_path, check=True)


@pytest.mark.parametrize("name", first_now(MAPS))
def test_on_the_avr_the_table_is_in_flash_and_reads_the_same(name: str, tmp_path: Path) -> None:
    require("avr-gcc", "avr-size")
    map_ = MAPS[name]()
    build_folder()
    (tmp_path / "table.h").write_text(write_c_header(map_), encoding="ascii")
    (tmp_path / "main.c").write_text(AVR_MAIN)
    avr = ("avr-gcc", *STRICT[:-1], "-Os", "-mmcu=atmega328p", "-DF_CPU=16000000UL")
    subprocess.run([*avr, "main.c", "-o", "main.elf"], cwd=tmp_path, check=True)
    sections = subprocess.run(["avr-size", "-A", "main.elf"], cwd=tmp_path, capture_output=True, text=True, check=True)
    ram = sum(int(line.split()[1]) for line in sections.stdout.splitlines() if line.startswith((".data", ".bss")))
    assert ram < 32, "constants of the table are in RAM"
    said = b""
    with SimulatedAvr(tmp_path / "main.elf", paused=True) as chip:
        for _ in range(60):
            chip.run(50)
            said += chip.sent()
            if said.endswith(b".\n"):
                break
    assert said.decode("ascii").splitlines() == [*lookups(map_, short=True), "."]


@pytest.mark.parametrize("name", MAPS)
def test_the_python_module_imports_and_equals_the_map(name: str, tmp_path: Path) -> None:
    map_ = MAPS[name]()
    path = tmp_path / "table.py"
    path.write_text(write_python_module(map_), encoding="ascii")
    spec = importlib.util.spec_from_file_location("playfield_table_under_test", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    table = lamp_table(map_)
    for rows, held, look_up in (
        ([(row.number, row.pixels) for row in table.lamps], module.LAMPS, module.pixels_of_lamp),
        ([(at, row.always_on) for at, row in enumerate(table.groups)], module.GROUPS, module.pixels_of_group),
    ):
        assert held.keys() == {number for number, _ in rows}
        for number, pixels in rows:
            expected = tuple(
                (p.output, p.number, (p.duty.red, p.duty.green, p.duty.blue, p.duty.white)) for p in pixels
            )
            assert look_up(number) == expected
    assert module.pixels_of_lamp(9_999) == ()
    assert {output: chain[0] for output, chain in module.CHAINS.items()} == {c.output: c.length for c in map_.chains}


def test_the_module_needs_nothing_newer_than_small_boards_know() -> None:
    text = write_python_module(nasty())
    assert "import" not in re.sub(r"#.*", "", text)
    compile(text, "table.py", "exec", dont_inherit=True)
    assert max(map(len, write_python_module(kelp_forest()).splitlines())) < 500


def test_constants_name_the_lamps_a_person_knows() -> None:
    assert "#define LAMP_32_REEF_LANE_2 32u" in write_c_header(kelp_forest())
    assert "LAMP_32_REEF_LANE_2 = 32" in write_python_module(kelp_forest())


@pytest.mark.slow
@given(maps())
def test_any_map_gives_the_same_plain_text_each_time(map_: PlayfieldMap) -> None:
    again = PlayfieldMap.model_validate(map_.model_dump())
    for write in (write_c_header, write_python_module):
        text = write(map_)
        assert text == write(again)
        assert text.isascii()
        assert all(character.isprintable() for line in text.split("\n") for character in line)
    header = re.sub(r"/\*.*?\*/", "", write_c_header(map_), flags=re.DOTALL)
    assert "*/" not in header
    assert "/*" not in header
    assert "??" not in write_c_header(map_)
    names = re.findall(r"^#define ((?:LAMP|GROUP)_\w+)", header, re.MULTILINE)
    assert len({name[:SIGNIFICANT] for name in names}) == len(names)
    code = compile(write_python_module(map_), "table.py", "exec")
    scope: dict[str, object] = {}
    exec(code, scope)
    assert len([name for name in scope if name.startswith(("LAMP_", "GROUP_"))]) == len(names)


@given(st.lists(labels, unique=True, max_size=12))
def test_names_are_valid_unlike_and_do_not_depend_on_order(found: list[str]) -> None:
    names = labelled_names("GROUP", {label: label for label in found})
    assert set(names) == set(found)
    for name in names.values():
        assert re.fullmatch(r"GROUP(?:_[A-Z0-9]+)*", name)
        assert not keyword.iskeyword(name)
        assert len(name) <= SIGNIFICANT
    assert len(set(names.values())) == len(found)
    assert names == labelled_names("GROUP", {label: label for label in reversed(found)})


@given(st.integers(0, 9_999), labels, st.integers(0, 9_999), labels)
def test_lamps_of_other_numbers_have_other_names(one: int, label: str, two: int, other: str) -> None:
    names = numbered_name("LAMP", one, label), numbered_name("LAMP", two, other)
    assert all(re.fullmatch(r"[A-Z][A-Z0-9_]{0,30}", name) for name in names)
    assert one == two or names[0] != names[1]


@given(st.text())
def test_no_text_leaves_its_comment(text: str) -> None:
    shown = comment_text(text)
    assert shown.isascii()
    assert shown.isprintable()
    assert not re.search(r"\*|/|\\|\?\?|\n", shown)


def test_a_label_in_another_script_keeps_its_lamp() -> None:
    map_, place = add_place(
        add_chain(new_map("Kelp Forest"), Chain(id="a", name="A", output=0, count=1)), "שלום", lamps=(7,)
    )
    map_ = set_lamps(assign_place(map_, "a", 0, place.id), [Lamp(number=7, name="שלום")])
    assert "#define LAMP_7 7u" in write_c_header(map_)
    assert isinstance(place, Place)
