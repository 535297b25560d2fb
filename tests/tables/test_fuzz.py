"""Uploads made by somebody who means harm, or by a program that writes something else: never a fault, all or nothing.

Bounded and seeded for every day; longer by hand: ``FUZZ_EXAMPLES=1000 pytest tests/tables/test_fuzz.py``.
"""

import csv
import io
import os
import re
import struct
import zipfile
import zlib
from typing import Any

import pytest
from django.test import Client
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from plates.catalogue.models import Kind
from plates.stock.models import Bin, Plate
from shop.people.models import Person
from tests.access.conftest import contents, undone
from tests.tables.conftest import Desk

pytestmark = pytest.mark.django_db
EXAMPLES = int(os.environ.get("FUZZ_EXAMPLES", "30"))
MODELS: dict[str, Any] = {"kinds": Kind, "bins": Bin, "plates": Plate}
HEADS = {
    "kinds": ["code", "fit", "role", "nominal", "mark", "material", "scan_codes", "supplier"],
    "bins": ["code", "fit", "role", "from", "to"],
    "plates": ["kind", "thickness", "source", "owner", "box", "mark"],
}
GOOD = {
    "kinds": ["K-1", "DRUM", "steel", "0.0870 in", "M", "steel", "4006381333931", "North Works"],
    "bins": ["B-20", "DRUM", "steel", "0.0865 in", "0.0875 in"],
    "plates": ["S-77", "0.0771 in", "a core", "somebody", "box 4", "M"],
}
MARKUP = ["<script>hostile()</script>", '"><img src=x onerror=hostile()>', "</td><b class=hostile>", "{{ 7*7 }}{% x %}"]
TEXTS = [
    *MARKUP, "=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "'=1", "=cmd|' /C x'!A0", "＝1", ";=1", '";=1+1;"', "a\nb", "a\rb",
    "a\0b", "\u202e0.077 in", "S\u200b-77", "\u200dS-77", "\ufeffS-77", "\u200f", "\u2066x\u2069", "x" * 201, "9" * 400,
    "1e999", "nan", "٠.٠٧٧١ in", "²", "|", " | ", "a | | b", "\x1b[2J", "\x85", "\u2028", "½", "%s%n", "../../x", "",
]  # fmt: skip
MARKED = re.compile("|".join(re.escape(text) for text in MARKUP[:3]))
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252", "latin-1", "cp437", "utf-7"]
#: What each refusal tells whoever sent the file to do.
WAY_OUT = re.compile(
    r"Save it as|Send it in parts|Write |Needed are|Known are|Keep one|Type |Fill this in|Make it first|Quote a cell|"
    r"Leave |leave |Name its column|Its first line names|has no rows below them|Choose |write |Ensure |A code is|"
    r"already|not a length|at most|above zero|Give |is a length|one line|not a valid|overlap|Read it|takes|no longer|"
    r"is for|belongs|may not|must|check its host and form"
)
FUZZED = settings(
    max_examples=EXAMPLES,
    deadline=None,
    database=None,
    phases=[Phase.generate],
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)


def file_of(rows: list[list[str]], delimiter: str = ",") -> str:
    written = io.StringIO()
    csv.writer(written, delimiter=delimiter).writerows(rows)
    return written.getvalue()


def sent(desk: Desk, sort: str, content: bytes) -> int:
    """Check the file and, where that is offered, write it: how many rows came in. Holds whatever the file."""
    before, there = contents(), MODELS[sort].objects.count()
    said = desk.check(sort, content)
    assert desk.status == 200 and not MARKED.search(desk.html), said
    assert contents() == before, "a check keeps nothing"
    if "checked" not in desk.form()["fields"]:
        refused = re.search(r'(?s)<div class="refusal".*?</div>|<table>.*?What to do.*?</table>', desk.html)
        assert refused and WAY_OUT.search(refused[0]), said
        return 0
    (promised,) = map(int, re.findall(r"Write all (\d+)", said))
    said = desk.write()
    assert desk.status == 200 and not MARKED.search(desk.html), said
    made = MODELS[sort].objects.count() - there
    assert made == promised and f"{made} row" in said, said
    return made


def looked_at(desk: Desk, sort: str) -> None:
    """What came in, exported and shown: nothing in it runs, neither in a spreadsheet nor in a browser."""
    content = desk.export(sort).decode("utf-8-sig")
    for cell in (cell for row in csv.reader(io.StringIO(content, newline="")) for cell in row):
        assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "＝", "＋", "－", "＠")), cell
        assert not re.search("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]", cell), cell
    for path in ("/kinds/", "/kinds/S-77/", "/bins/", "/bins/B-14/", "/missed/", f"/import/{sort}/"):
        desk.open(path)
        assert desk.status == 200 and not MARKED.search(desk.html), path


def zipped(*names: str) -> bytes:
    """An archive with these files, as a workbook of a spreadsheet is one."""
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in names:
            archive.writestr(name, "<x>kind,thickness</x>" * 40)
    return written.getvalue()


def picture() -> bytes:
    """The smallest PNG that there is: one grey point."""
    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    parts = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0)), chunk(b"IDAT", zlib.compress(b"\0\0"))
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts) + chunk(b"IEND", b"")


PLAIN, ROW = "kind,thickness,mark\nS-77,0.0771 in,", "S-77,0.0771 in,M\n"
PICKED = {
    "zip": (zipped("table.csv"), "Save it as CSV"),
    "workbook": (zipped("[Content_Types].xml", "xl/worksheets/sheet1.xml"), "Save it as CSV"),
    "picture": (picture(), "Save it as CSV"),
    "one cell of a megabyte": (f"{PLAIN}{'x' * 1_000_000}\n".encode(), "longer than 131072 characters"),
    "one line of a megabyte": (f"{PLAIN}{',' * 1_000_000}x\n".encode(), "cells and the header 3"),
    "a head of a megabyte": (b"x" * 1_000_000 + b"\nS-77\n", "longer than 131072 characters"),
    "10 000 columns": (b"x," * 10_000 + b"\n1\n", "no column 'x'"),
    "millions of columns": (b"x," * 4_900_000, "Line 1 has 4900001 cells"),
    "millions of lines before the first": (b"\n" * 4_000_000 + PLAIN.encode(), "1 of 1 row is good"),
    "10 000 times one column": (b"kind," * 10_000 + b"thickness\n1\n", "'kind' stands twice"),
    "10 000 cells in a row": (f"{PLAIN}{'x,' * 10_000}\n".encode(), "10003 cells and the header 3"),
    "blank cells behind the header": (f"{PLAIN}M{',' * 10_000}\n".encode(), "1 of 1 row is good"),
    "a quote never closed": (f'{PLAIN}"M\n{ROW * 5}'.encode(), "a quote is opened and not closed"),
    "a quote never closed for a megabyte": (f'{PLAIN}"{ROW * 60_000}'.encode(), "close every quote"),
    "a quote in the header": (b'kind,"thickness\nS-77,0.0771 in\n', "a quote is opened and not closed"),
    "nothing but quotes": (b'"' * 100_000, "there is no column"),
    "nothing but carriage returns": (b"\r" * 100_000, "The file is empty"),
    "nothing but a mark": (b"\xef\xbb\xbf", "The file is empty"),
    "nothing but a mark of UTF-16": (b"\xff\xfe", "The file is empty"),
    "half a character of UTF-16": (b"\xff\xfek", "says that it is UTF-16 and is not"),
    "half of a pair of UTF-16": (
        ("\ufeff" + PLAIN).encode("utf-16-le") + b"\x00\xd8\n\x00", "says that it is UTF-16 and is not"
    ),
    "UTF-16 without a mark": (f"{PLAIN}M\n".encode("utf-16-be"), "holds a NUL character"),
    "UTF-32": (f"{PLAIN}M\n".encode("utf-32"), "NUL character"),
    "half of a pair in UTF-8": (PLAIN.encode() + b"\xed\xa0\x80\n", "Windows-1252, a guess"),
    "overlong UTF-8": (PLAIN.encode() + b"\xc0\xafM\n", "Windows-1252, a guess"),
    "an override in a supplier": (
        "kind,thickness,owner\nS-77,0.0771 in,North \u202eskroW\n".encode(), "writing direction that nobody sees"
    ),
    "a mark within a code": (f"{PLAIN}M\nS\u200b-77,0.0771 in,M\n".encode(), "A code is 1 to 40"),
    "an enormous number": (b"kind,thickness,count\nS-77,0.0771 in,999999999\n", "at most"),
    "an enormous length": (f"kind,thickness\nS-77,{'9' * 5_000} in\n".encode(), "not a length"),
}  # fmt: skip


@pytest.mark.parametrize("name", PICKED)
def test_what_was_picked_by_hand(desk: Desk, name: str) -> None:
    content, told = PICKED[name]
    came = sent(desk, "plates", content)
    with undone():
        assert told in desk.check("plates", content), desk.text
    assert came == Plate.objects.count()


@pytest.mark.parametrize("sort", MODELS)
def test_no_bytes_meet_a_fault(desk: Desk, sort: str) -> None:
    good = file_of([HEADS[sort], GOOD[sort]]).encode()
    cut = st.tuples(st.integers(0, len(good)), st.integers(0, len(good)), st.binary(max_size=8))

    @seed(20261127)
    @FUZZED
    @given(st.one_of(st.binary(max_size=200), cut.map(lambda at: good[: at[0]] + at[2] + good[at[1] :])))
    def tried(content: bytes) -> None:
        with undone():
            sent(desk, sort, content)

    tried()


@pytest.mark.parametrize("sort", MODELS)
def test_rows_of_hostile_cells_come_in_whole_and_harmless_or_not_at_all(desk: Desk, sort: str) -> None:
    cells = st.one_of(st.sampled_from(TEXTS), st.text(max_size=8))
    row = st.dictionaries(st.sampled_from(range(len(HEADS[sort]))), cells, max_size=2)
    came = []

    @seed(20261127)
    @FUZZED
    @given(st.lists(row, min_size=1, max_size=3), st.sampled_from(",;\t"), st.sampled_from(ENCODINGS))
    def tried(changed: list[dict[int, str]], delimiter: str, encoding: str) -> None:
        said = [[row.get(at, cell) for at, cell in enumerate(GOOD[sort])] for row in changed]
        content = file_of([HEADS[sort], *said], delimiter).encode(encoding, errors="replace")
        with undone():
            came.append(sent(desk, sort, content))
            if came[-1]:
                looked_at(desk, sort)

    tried()
    assert any(came), "no file came in, so nothing that came in was looked at"


@pytest.mark.parametrize("text", [text for text in TEXTS if text])
def test_a_text_that_is_taken_is_shown_and_exported_as_text(desk: Desk, text: str) -> None:
    kind = GOOD["kinds"][:4] + [text] * 4
    if sent(desk, "kinds", file_of([HEADS["kinds"], kind]).encode()):
        looked_at(desk, "kinds")
        desk.open("/kinds/K-1/")
        assert desk.status == 200 and not MARKED.search(desk.html)
    if sent(desk, "plates", file_of([HEADS["plates"], GOOD["plates"][:2] + [text] * 4]).encode()):
        looked_at(desk, "plates")
        desk.open(f"/plates/{Plate.objects.get().pk}/")
        assert desk.status == 200 and not MARKED.search(desk.html)


PART = b'--x\r\nContent-Disposition: form-data; name="file"'
BROKEN = [
    b"", b"--x", b"--x\r\n\r\n", b"--x--\r\n", b"\0" * 100, PART, PART + b"\r\n",
    PART + b'; filename="../../\0a.csv"\r\n\r\nkind\r\n--x--\r\n', PART + b'; filename=""\r\n\r\nkind\r\n--x--\r\n',
    PART + b"\r\n\r\nkind,thickness\r\n--x--\r\n",
    PART + b'; filename="a"\r\nContent-Transfer-Encoding: base64\r\n\r\n%\r\n--x--',
    (PART + b'; filename="a"\r\n\r\nkind\r\n') * 101,
]  # fmt: skip


@pytest.mark.parametrize("body", BROKEN)
def test_a_form_that_is_broken_is_refused(owner: Person, body: bytes) -> None:
    client = Client(raise_request_exception=False)
    client.force_login(owner)
    answer = client.generic("POST", "/import/plates/", body, content_type="multipart/form-data; boundary=x")
    assert answer.status_code in (200, 400)
    assert b"Choose a file first." in answer.content or WAY_OUT.search(answer.content.decode())
    assert not Plate.objects.exists()
