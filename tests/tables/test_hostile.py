"""Files as they come: encodings, delimiters, line ends, quotes, and what somebody made to do harm."""

import pytest

from plates.stock.models import Plate
from tests.tables.conftest import Desk

pytestmark = pytest.mark.django_db

TEXT = "kind,thickness,owner\r\nS-77,0.0771 in,Zoë\r\n"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (TEXT.encode(), "Read as UTF-8."),
        (TEXT.encode("utf-8-sig"), "Read as UTF-8."),
        (TEXT.encode("utf-16"), "Read as UTF-16."),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "Read as UTF-16."),
        (TEXT.encode("cp1252"), "Windows-1252, a guess"),
        (TEXT.replace("\r\n", "\n").encode(), "parted by comma"),
        (TEXT.replace("\r\n", "\r").encode(), "parted by comma"),
        (TEXT.replace(",", ";").encode(), "parted by semicolon"),
        (TEXT.replace(",", "\t").encode(), "parted by tab"),
        (TEXT.replace("kind,", "\n\nKind,").encode(), "1 of 1 row is good"),
        (TEXT.replace("Zoë", '"Zoë"').encode(), "1 of 1 row is good"),
    ],
)
def test_every_way_to_write_it_is_read(desk: Desk, content: bytes, told: str) -> None:
    said = desk.check("plates", content)
    assert "1 of 1 row is good" in said and told in said
    desk.write()
    assert Plate.objects.get().owner == "Zoë"


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "The file is empty."),
        (b"\n\n \n", "The file is empty."),
        (b"kind,thickness\n", "has no rows below them"),
        (b"kind,thickness\nS-77,0.0771 in\nS-77,\x00\n", "Line 3 holds a NUL character"),
        (b"kind,thickness\rS-77,0.0771 in\rS-77,\x00\r", "Line 3 holds a NUL character"),
        (TEXT.encode("utf-16-le"), "Line 1 holds a NUL character"),
        (b"\xff\xfe" + TEXT.encode("utf-16-le")[:-1], "says that it is UTF-16 and is not"),
        (b"\xef\xbb\xbfkind,thickness\nS-77,\xe9\n", "says that it is UTF-8 and is not"),
        (b"kind,thickness\nS-77,\xc3\xab \x81\n", "neither UTF-8 nor Windows-1252"),
        (b'kind,thickness\nS-77,0.0771 in\n"S-77,0.0771 in\nS-77,', "Line 3: a quote is opened and not closed."),
        (b'kind,thickness\n"S-77"x,0.0771 in\n', "Line 2:"),
        (b'kind,thickness\nS-77,"' + b"9" * 200_000 + b'"\n', "Line 2: a cell is longer than 131072 characters."),
        (b"kind,thickness,price\nS-77,0.0771 in,1\n", "no column 'price'"),
        ("kind,thickness,\u200fbox\nS-77,0.0771 in,1\n".encode(), "no column '\\u200fbox'"),
        (b"kind,thickness,thickness_mm\nS-77,0.0771 in,1\n", "'thickness' stands twice"),
        (b"kind,box\nS-77,1\n", "the column 'thickness' is missing"),
        (b"kind,thickness\n" + b"S-77,0.0771 in\n" * 20_001, "more than 20000 rows"),
        (b"kind,thickness\n" + b"\n" * 10_000_000, "larger than 10 MB"),
        (b"kind,thickness\n" + b"\n" * 11_000_000, "larger than 10 MB"),
    ],
)
def test_what_cannot_be_read_is_refused_in_words(desk: Desk, content: bytes, told: str) -> None:
    assert told in desk.check("plates", content)
    assert desk.status == 200 and "write" not in desk.form()["fields"]


@pytest.mark.parametrize(
    ("content", "told"),
    [
        ('kind,thickness_mm\nS-77,"1,958"\n', "holds a comma. Write a decimal point"),
        ("kind;thickness_mm\nS-77;1.001,958\n", "holds a comma."),
        ("kind,thickness_mm\nS-77,1.958 mm\n", "is no plain number; its column says that it is mm."),
        ("kind,thickness_in\nS-77,-0.0771\n", "is no plain number"),
        ("kind,thickness_in\nS-77,=1+1\n", "is no plain number"),
        ("kind,thickness\nS-77,٠.٠٧٧١ in\n", "is not a length"),
        ("kind,thickness\nS-77,0.0771 in | \n" + "S-77,| |\n", "thickness"),
        ("kind,thickness,mark\nS-77,0.0771 in,a\x1bb\n", "This is one line"),
        ("kind,thickness,mark\nS-77,0.0771 in," + "x" * 300 + "\n", "no more than 200"),
        ("kind,thickness,\nS-77,0.0771 in,left\n", "'left' stands below no name."),
        ("kind,thickness,taper\nS-77,0.0771 in | 0.0772 in,0.001 in\n", "Several points say the taper themselves."),
        ("kind,thickness,unread\nS-77,0.0771 in,yes\n", "It carries the mean of its lot."),
        ("kind,thickness,gauge,agreed_by\nS-77,0.0771 in,,nobody\n", "is nobody in this shop"),
    ],
)
def test_a_bad_row_is_refused_in_words(desk: Desk, content: str, told: str) -> None:
    said = desk.check("plates", content)
    assert told in said and "All rows come in or none" in said
    assert not Plate.objects.exists()


def test_markup_in_a_file_stays_text(desk: Desk) -> None:
    desk.check("plates", "kind,thickness,hot_spot\nS-77,0.0771 in,<script>alert(1)</script>\n")
    assert "<script>alert" not in desk.html and "&lt;script&gt;" in desk.html


def test_a_form_without_a_file_says_so(desk: Desk) -> None:
    desk.post("/import/plates/", {})
    assert "Choose a file first." in desk.text
    assert desk.open("/import/nothing/") and desk.status == 404
