"""Lamp lists: the headings people use, errors with line and column, and an exact way back."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from probe.document.model import Kind, Lamp
from probe.export import ImportProblem, read_lamp_list, write_lamp_list
from tests.document.strategies import lamps


def in_a_list(lamp: Lamp) -> bool:
    """Whether a list can say this: a row has a number, or else a group; strobes would give it a number."""
    said = lamp.model_dump()
    return said["number"] is not None or (bool(said.get("group", "").strip()) and None in (lamp.row, lamp.column))


@given(st.lists(lamps.filter(in_a_list), min_size=1, max_size=5).map(tuple))
def test_any_list_comes_back_equal(made: tuple[Lamp, ...]) -> None:
    text = write_lamp_list(made)
    assert read_lamp_list(text) == made
    assert read_lamp_list(text.encode()) == made


def test_a_list_of_none_is_a_list() -> None:
    assert read_lamp_list(write_lamp_list(())) == ()


@pytest.mark.parametrize(
    "text",
    [
        "number,name,area,kind\n7,Otter bonus 1,Otter den,insert\n",
        "Name;Type;Location;Lamp Number\nOtter bonus 1;Insert;Otter den;7\n",
        "#\tDescription\tArea\tClass\n 7 \tOtter bonus 1\tOtter den\tINSERTS\n",
        "\ufeffLAMP,LABEL,Region,kind,Supplier\n7.0,Otter bonus 1,Otter den,,any\n",
        "\n\nNo.,Lamp  Name,Where\n\n7,Otter bonus 1,Otter den\n\n",
    ],
)
def test_headings_that_people_use(text: str) -> None:
    assert read_lamp_list(text) == (Lamp(number=7, name="Otter bonus 1", area="Otter den", kind=Kind.INSERT),)


@pytest.mark.parametrize(
    ("said", "kind"),
    [("GI", Kind.GENERAL), ("General  Illumination", Kind.GENERAL), ("pop bumper", Kind.BUMPER), ("flash", Kind.FLASHER),
     ("Back Box", Kind.BACKBOX), ("sign", Kind.SIGN), ("", Kind.INSERT), ("  ", Kind.INSERT)],
)  # fmt: skip
def test_kinds_that_people_write(said: str, kind: Kind) -> None:
    assert read_lamp_list(f"number,name,kind\n1,x,{said}\n")[0].kind is kind


def test_every_column_is_read() -> None:
    text = "no,name,driver,lamp row,strobe,colour,remarks\n12,Wreck lock 1,Q17,4,2,blue,two bulbs\n"
    assert read_lamp_list(text) == (
        Lamp(number=12, name="Wreck lock 1", driver="Q17", row=4, column=2, insert_colour="blue", note="two bulbs"),
    )


def test_strobes_alone_give_the_number() -> None:
    text = "name,row,column\nReef lane 1,1,1\nReef lane 2,8,1\nWreck arrow,1,2\nTilt,8,8\n"
    assert [lamp.number for lamp in read_lamp_list(text)] == [1, 8, 9, 64]


def test_one_wire_for_each_lamp_is_a_driver() -> None:
    text = "lamp,name,scr\n3,Reef lane 1,Q7\n4,Reef lane 2,Q8\n41,Left sign,Q20\n42,Right sign,Q20\n"
    made = read_lamp_list(text)
    assert [(lamp.number, lamp.driver, lamp.row) for lamp in made][2:] == [(41, "Q20", None), (42, "Q20", None)]


def test_what_is_always_on_has_a_group_and_no_number() -> None:
    text = "no,name,kind,group\n1,Reef lane 1,,\n,Reef glow 1,GI,\n,Apron lamp,,second string\n"
    made = read_lamp_list(text)
    assert [(lamp.number, lamp.group) for lamp in made] == [
        (1, ""), (None, "general illumination"), (None, "second string"),
    ]  # fmt: skip


def test_columns_can_be_named() -> None:
    text = "position,lamp,name in the manual\n3,11,Reef lane 1\n"
    made = read_lamp_list(text, columns={"name": "Name in the  Manual"})
    assert made == (Lamp(number=11, name="Reef lane 1"),)
    assert read_lamp_list(text, columns={"name": "name in the manual", "number": "position"})[0].number == 3


def test_a_number_may_be_there_twice() -> None:
    assert [lamp.number for lamp in read_lamp_list("no,name\n1,Left\n1,Right\n")] == [1, 1]


@pytest.mark.parametrize(
    ("text", "line", "column", "said"),
    [
        ("no,title\n1,x\n", 1, None, "no column for the lamp's name was found.*'no', 'title'"),
        ("name\nx\n", 1, None, "no column for the lamp's number"),
        ("no,name\n1,x\nL2,y\n", 3, "A (number)", "'L2' is not a whole number"),
        ("name,no\nx,1.5\n", 2, "B (number)", "not a whole number"),
        ("no,name\n1e999,x\n", 2, "A (number)", "not a whole number"),
        ("no,name\n10000,x\n", 2, "A (number)", "9999"),
        ("no,name\n-1,x\n", 2, "A (number)", "greater than"),
        ("no,name\n,x\n", 2, "A (number)", "no number|neither a number nor a group"),
        ('no,name\n1,"two\nlines"\n2,\n', 4, "B (name)", "the lamp has no name"),
        ("no,name,kind\n1,x,lantern\n", 2, "C (kind)", "Write one of: insert, bumper"),
        ("no,name,row\n1,x,0\n", 2, "C (row)", "greater than or equal to 1"),
        (f"no,name\n1,{'x' * 2_001}\n", 2, "B (name)", "2000"),
        ("", 1, None, "empty"),
    ],
)
def test_what_is_wrong_is_named_with_line_and_column(text: str, line: int, column: str | None, said: str) -> None:
    with pytest.raises(ImportProblem, match=said) as caught:
        read_lamp_list(text)
    assert (caught.value.line, caught.value.column) == (line, column)
    assert caught.value.hint


@pytest.mark.parametrize("head", ["number,name,name", "number,Name, nAME ", "number,name,number", "number,name,x,x"])
def test_a_heading_that_is_there_twice_is_refused(head: str) -> None:
    with pytest.raises(ImportProblem, match="heading is there twice") as caught:
        read_lamp_list(f"{head}\n1,a,b,c"[: len(head) + 7])
    assert caught.value.line == 1


def test_empty_headings_may_be_many() -> None:
    assert len(read_lamp_list("number,name,,\n1,a,,\n")) == 1


@pytest.mark.parametrize("code", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("first", ["", "sep=;\r\n"])
def test_a_list_saved_with_semicolons_and_decimals_written_with_commas(code: str, first: str) -> None:
    (lamp,) = read_lamp_list(f"{first}number;name;row\r\n12,0;Große Höhle, links;3,0\r\n".encode(code))
    assert (lamp.number, lamp.name, lamp.row) == (12, "Große Höhle, links", 3)


def test_columns_named_wrongly_are_refused() -> None:
    with pytest.raises(ImportProblem, match=r"a lamp has no 'colour'.*insert_colour"):
        read_lamp_list("no,name\n1,x\n", columns={"colour": "no"})
    with pytest.raises(ImportProblem, match=r"no column 'title' for name.*'no', 'name'"):
        read_lamp_list("no,name\n1,x\n", columns={"name": "title"})


def test_columns_past_z_have_two_letters() -> None:
    head = ",".join(["name", *(f"x{number}" for number in range(26)), "no"])
    with pytest.raises(ImportProblem, match=r"column AB \(number\)"):
        read_lamp_list(f"{head}\nLamp,{',' * 25},q\n")


def test_a_counted_number_out_of_range_names_the_column_it_was_counted_from() -> None:
    with pytest.raises(ImportProblem, match=r"line 3, column B \(column\)"):
        read_lamp_list("Name,Column,Row\nOtter,1,2\nReef,999999999,8\n")
