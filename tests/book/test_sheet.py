"""The text of a table is split and reassembled byte for byte."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from edgewind.book.sheet import new_sheet, put_together, row_of, take_apart, with_new_cells
from edgewind.signals import parse_readings

TEXT = (
    '\ufeff# mine\r\n\r\ngauge [V];speed [rpm];note;\r\n1,50;7;"a;""b""\r\nc";kept\r\n# between\r\n2;8;;\r\n\r\n# end'
)


def parsed(text):
    return parse_readings(text.removeprefix("\ufeff")).drop(columns="line")


def test_an_irregular_table_is_reassembled_byte_for_byte():
    sheet, rows = take_apart(TEXT)
    assert put_together(sheet, [(row, {}) for row in rows]) == TEXT
    assert sheet.columns == (("gauge", "V"), ("speed", "rpm"), ("note", ""), ("", ""))
    assert [dict(row.cells) for row in rows] == [
        {"gauge": "1,50", "speed": "7", "note": 'a;"b"\r\nc'},
        {"gauge": "2", "speed": "8", "note": ""},
    ]


def test_one_changed_cell_leaves_all_other_text_unchanged():
    sheet, rows = take_apart(TEXT)
    changed = put_together(sheet, [(rows[0], {"gauge": "1,51"}), (rows[1], {})])
    assert changed == TEXT.replace("1,50", "1,51")


def test_an_added_reason_to_exclude_gets_its_own_column():
    sheet, rows = take_apart(TEXT)
    changed = put_together(sheet, [(rows[0], {}), (rows[1], {"exclude": "no; the door"})])
    frame = parsed(changed)
    assert list(frame["exclude"]) == ["", "no; the door"]
    assert frame.drop(columns="exclude").equals(parsed(TEXT).drop(columns="exclude"))


def test_rows_can_be_appended_to_text_without_a_last_newline():
    sheet, rows = take_apart("gauge [V],speed [rpm]\n1,2")
    text = put_together(sheet, [(rows[0], {}), (row_of(sheet, {"gauge": "3", "speed": "4"}), {})])
    assert text == "gauge [V],speed [rpm]\n1,2\n3,4\n"


def test_titles_of_a_new_table_are_written_as_given():
    assert put_together(new_sheet(["time", "gauge [V]", "trace"]), []) == "time,gauge [V],trace\n"


notes = st.text(st.characters(exclude_characters="\x00", exclude_categories=("Cs",)), max_size=12)


@given(notes, notes, st.sampled_from(",;\t"), st.sampled_from(["\n", "\r\n"]))
def test_a_change_and_its_reversal_restore_any_text(one, other, delimiter, newline):
    line = delimiter.join(["2", "8", ""]) + newline
    text = delimiter.join(["gauge [V]", "speed [rpm]", "note"]) + newline + line
    sheet, (row,) = take_apart(text)
    first = with_new_cells(sheet, row, {**row.cells, "note": one.strip()})
    written = put_together(sheet, [(first, {})])
    assert parsed(written)["note"][0] == one.strip()
    again, (read,) = take_apart(written)
    assert again == sheet and read.cells["note"] == one.strip()
    assert parsed(put_together(sheet, [(read, {"note": other.strip()})]))["note"][0] == other.strip()


@pytest.mark.parametrize("text", ["gauge [V],speed [rpm]\n1,2\n", "\n\n# a\ngauge [V]\tspeed [rpm]\n\n1\t2\n\t\n3\t4"])
def test_plain_tables_are_reassembled_byte_for_byte(text):
    sheet, rows = take_apart(text)
    assert put_together(sheet, [(row, {}) for row in rows]) == text
