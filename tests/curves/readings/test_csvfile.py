"""The importer: every odd file is read rightly, asked about, or refused whole with its row and column."""

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from curves.models import SPEED_RPM
from curves.readings import cells
from curves.readings.csvfile import CsvError, Question, Table, read, write
from tests.typed import MEANT


def pairs(data, **declared):
    return [(row.speed_rpm, row.advance_deg) for row in read(data, **declared).rows]


WANTED = [(500, 0.0), (1000, 7.5), (1200, 9.0)]


@pytest.mark.parametrize(
    "data",
    [
        "500,0\n1000,7.5\n1200,9\n",
        "500;0\n1000;7,5\n1200;9\n",
        "500\t0\n1000\t7.5\n1200\t9\n",
        "500\t0\r\n1000\t7,5\r\n1200\t9",
        "500 0\n1000 7.5\n1200 9",
        "speed,advance\n500,0\n1000,7.5\n1200,9\n",
        "Speed;Advance\nrpm;deg\n500;0\n1000;7,5\n1200;9\n",
        "advance,speed\n0,500\n7.5,1000\n9,1200\n",
        '"500","0"\n"1000","7.5"\n"1,200","9"\n',
        "500;0\n1.000;7,5\n1.200;9\n",
        "500;0\n1 000;7,5\n1'200;9\n",
        "500 rpm;0°\n1000 rpm;7,5°\n1200 rpm;9 deg\n",
        "\n\n500,0\n\n1000,7.5\n,\n1200,9\n\n",
        "No.,speed,advance,note\n1,500,0,ok\n2,1000,7.5,\n3,1200,9,x\n",
        "distributor rpm,distributor deg\n500,0\n1000,7.5\n1200,9\n",
    ],
)
def test_the_same_readings_are_found_in_every_layout(data):
    assert pairs(data) == WANTED


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"])
def test_every_encoding_is_read(encoding):
    text = "Speed [rpm];Advance [°]\n500;0\n1000;7,5\n1200;9\n"
    assert pairs(text.encode(encoding)) == WANTED


@pytest.mark.parametrize(
    ("heading", "frame"),
    [
        ("crank rpm,crank deg", "crank"),
        ("engine speed,advance", "crank"),
        ("rpm (crankshaft),degrees (crankshaft)", "crank"),
        ("distributor rpm,advance", "shaft"),
        ("shaft rpm,shaft degrees", "shaft"),
        ("rpm,degrees", None),
    ],
)
def test_the_frame_in_the_headings_is_found_and_said(heading, frame):
    table = read(f"{heading}\n1000,7.5\n")
    assert table.frame == frame
    assert any("headings say" in line for line in table.stated) is (frame is not None)


def test_a_heading_against_the_declared_frame_is_refused():
    with pytest.raises(CsvError, match="headings say crank, and distributor is declared"):
        read("crank rpm,crank deg\n1000,7.5\n", frame="shaft")


def test_a_speed_and_an_advance_in_two_frames_are_refused():
    with pytest.raises(CsvError, match="One heading says crank, the other distributor"):
        read("crank rpm,distributor deg\n1000,7.5\n")


def test_both_frames_side_by_side_are_asked_about_then_read_as_declared():
    data = "distributor rpm,distributor deg,crank rpm,crank deg\n500,3,1000,6\n"
    with pytest.raises(Question) as asked:
        read(data)
    assert asked.value.about == "frame"
    assert pairs(data, frame="shaft") == [(500, 3)]
    assert pairs(data, frame="crank") == [(1000, 6)]


@pytest.mark.parametrize("data", ["1,200\t9\n1,400\t11\n", "1.200;9\n1.400;11\n", '"1,200",9\n'])
def test_a_thousand_or_one_and_a_bit_is_asked_about_and_never_guessed(data):
    with pytest.raises(Question) as asked:
        read(data)
    assert asked.value.about == "decimal"


def test_once_the_decimal_mark_is_said_the_same_file_is_read():
    assert pairs("1,200\t9\n1,400\t11\n", decimal=".") == [(1200, 9), (1400, 11)]
    table = read("1.200;9\n1.400;11\n", decimal=",")
    assert [row.speed_rpm for row in table.rows] == [1200, 1400]
    assert "“1.200” is read as 1200." in table.stated


def test_three_decimals_of_an_advance_are_no_thousands():
    assert pairs("1000;7,125\n1200;9,250\n") == [(1000, 7.125), (1200, 9.25)]


@pytest.mark.parametrize(
    ("text", "falling"),
    [
        ("1000,7,rising\n1000,8,falling\n", [False, True]),
        ("1000,7,up\n1000,8,down\n", [False, True]),
        ("1000,7\n1000,8,falling\n", [False, True]),
        ("speed,advance,falling\n1000,7,no\n1000,8,yes\n", [False, True]),
        ("speed,advance,falling\n1000,7,\n1000,8,x\n", [False, True]),
        ("direction,speed,advance\nRising,1000,7\nFalling,1000,8\n", [False, True]),
    ],
)
def test_the_direction_is_read(text, falling):
    assert [row.falling for row in read(text).rows] == falling


@pytest.mark.parametrize(
    ("data", "row", "column"),
    [
        ("500,0\n1000,abc\n", 2, "2"),
        ("speed,advance\n500,0\n1000,\n", 3, "2 (advance)"),
        ("speed,advance\n500,0\n,7\n", 3, "1 (speed)"),
        ("500,0\n1000,400\n", 2, "2"),
        ("500,0\n-1000,4\n", 2, "1"),
        ("500,0\n25000,4\n", 2, "1"),
        ("500,0\n1000,nan\n", 2, "2"),
        ("500,0\n1000,1e3\n", 2, "2"),
        ("500,0,sideways\n", 1, "3"),
        ("500,0\n1000,7,5,rising\n", 2, "4"),
        ("500,0\n1000,7,5\n", 2, "3"),
        ("500;0\n1.00.0;7\n", 2, "1"),
        ("advance,direction\n7,up\n", 1, None),
    ],
)
def test_a_bad_cell_is_refused_with_its_row_and_column(data, row, column):
    with pytest.raises(CsvError) as refused:
        read(data)
    assert (refused.value.row, refused.value.column) == (row, column)
    assert f"row {row}" in str(refused.value).lower()


@pytest.mark.parametrize(
    ("data", "why"),
    [
        ("", "empty"),
        ("\n \n", "empty"),
        ("speed,advance\n", "no reading"),
        ("500;7,5\n600;8.5\n", "write all alike"),
        ("1;2\n3;4\n", "write them in rpm"),
        (b"PK\x03\x04\x00\x00", "no text file"),
        (b"\xff\xfe5", "cut off"),
        ('"500,0\n1000,7\n', "quotation mark"),
        ("a" * 1_000_001, "1 MB"),
        (b"a" * 1_000_001, "1 MB"),
        ("1000,7\n" * 501, "at most 500"),
    ],
)
def test_a_file_that_cannot_be_read_says_why(data, why):
    with pytest.raises(CsvError, match=why):
        read(data)


cell_text = st.one_of(
    st.text(max_size=8),
    st.sampled_from(
        ["1,200", "1.200", "7,5", "7.5", "−3", "500", "crank rpm", "deg", "falling", "x", '"', "1e3", "nan"]
    ),
    st.floats().map(str),
    st.integers(-5000, 30000).map(str),
)
files = st.one_of(
    st.binary(max_size=300),
    st.text(max_size=300),
    st.builds(
        lambda rows, mark, end, encoding: end.join(mark.join(row) for row in rows).encode(
            encoding, "replace"
        ),
        st.lists(st.lists(cell_text, min_size=1, max_size=4), max_size=8),
        st.sampled_from("\t;, "),
        st.sampled_from(["\n", "\r\n", "\r"]),
        st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "latin-1"]),
    ),
)


@settings(max_examples=1000, deadline=None)
@given(files, st.sampled_from([None, "shaft", "crank"]), st.sampled_from([None, ".", ","]))
def test_any_file_is_taken_whole_or_refused_in_words(data, frame, decimal):
    try:
        table = read(data, frame=frame, decimal=decimal)
    except CsvError:
        return
    assert isinstance(table, Table)
    assert table.rows
    for row in table.rows:
        assert 0 <= row.speed_rpm <= 20000
        assert -20 <= row.advance_deg <= 90


readings = st.lists(
    st.tuples(st.integers(0, 20000), st.integers(-200, 900).map(lambda n: n / 10), st.booleans()),
    min_size=1,
    max_size=30,
).filter(lambda rows: max(row[0] for row in rows) >= 50)


@settings(max_examples=1000, deadline=None)
@given(
    readings, st.sampled_from("\t;"), st.sampled_from(".,"), st.sampled_from(["utf-8", "utf-16", "latin-1"])
)
def test_what_was_written_is_what_is_read(rows, delimiter, mark, encoding):
    lines = [
        delimiter.join([str(rpm), f"{deg:.1f}".replace(".", mark), "falling" if falling else "rising"])
        for rpm, deg, falling in rows
    ]
    table = read("\r\n".join(lines).encode(encoding))
    assert [(row.speed_rpm, row.advance_deg, row.falling) for row in table.rows] == rows


def test_csv_out_disarms_text_and_leaves_numbers_alone():
    out = write(["note", "deg"], [["=1+1", -3.5], ["@x", -4], ['say "go", then', 0.1 + 0.2], ["-5", None]])
    # RFC 4180: CRLF line ends, fields with quotes or commas in quotes, quotes doubled.
    assert out == ('note,deg\r\n\'=1+1,-3.5\r\n\'@x,-4\r\n"say ""go"", then",0.3\r\n\'-5,\r\n')
    assert [row[1] for row in csv.reader(io.StringIO(out))][1:3] == ["-3.5", "-4"]


@pytest.mark.parametrize(
    ("text", "number"),
    [("7,5", 7.5), ("7.5", 7.5), (" 12 ", 12), ("−3", -3), ("1 200", 1200), (",5", 0.5), ("7.125", 7.125)],
)
def test_a_cell_alone_is_read(text, number):
    assert cells.read_number(text, (-20, 1200), "Advance", "degrees") == pytest.approx(number)


@pytest.mark.parametrize(("typed", "decimals", "limits", "number"), MEANT)
def test_a_cell_alone_understands_what_a_field_does(typed, decimals, limits, number):
    assert cells.read_number(typed, limits, "Value", "", decimals=decimals) == number


def test_a_cell_alone_that_means_two_numbers_is_refused_with_both():
    with pytest.raises(cells.Ambiguous, match=r"can be 1200 or 1\.2: write the one you mean"):
        cells.read_number("1,200", SPEED_RPM, "Speed", "rpm")
