"""Every label is read back, both symbologies, from SVG and from PDF, at 300 dots an inch."""

from string import ascii_letters, digits

import pytest
import segno
from hypothesis import given, settings
from hypothesis import strategies as st
from reportlab.graphics.barcode.code128 import Code128

from plates.labels.contents import Content, badge_content
from plates.labels.layout import Print, Rule, Text, has_bars, label_of
from plates.labels.pdf import labels_pdf
from plates.labels.sheets import LEAST, SHEETS, SINGLES, Size, spread
from plates.labels.svg import label_svg, sheet_svg
from plates.labels.symbols import DOT, LEAST_BAR, LEAST_SQUARE, module_of, qr_code, qr_wide
from plates.lengths import MM
from plates.scan_codes import scan_format, scan_parse
from shop.people.badges import is_badge
from tests.labels.reading import pdf_pages, svg_read

SIZES = {**SINGLES, **{name: sheet.label for name, sheet in SHEETS.items()}, "least": LEAST}
LINES = [
    "pressure plate, fit " + "FIT_" * 10,
    "0.0760 to below 0.0780 in",
    "1.930 to below 1.981 mm",
    "36 teeth inside, " + "wide tooth " * 20,
    "outer 5.5000 in (139.700 mm), inner 4.2000 in (106.680 mm)",
]
WRITE = ("core tag", "read before", "read after", "built by")
LONGEST = ["W" * 40, "w" * 40, "aB" * 20, "_" * 40, "1" * 40]


def content(sort: str, code: str) -> Content:
    return Content(sort.title(), code, scan_format(sort, code), LINES, WRITE if sort == "job" else ())


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("sort, code", [("bin", "B-14"), ("kind", "Steel_77.b"), ("job", "J-1182")])
def test_each_sort_on_each_size(size: Size, sort: str, code: str) -> None:
    label = label_of(content(sort, code), size)
    scan = scan_format(sort, code)
    both = {"QR Code": [scan], "Code 128": [scan] if has_bars(scan, size) else []}
    assert svg_read(label_svg(label)) == both
    [(symbols, text)] = pdf_pages(labels_pdf([(size, [(label, (0, 0))])]))
    assert symbols == both
    assert code in text
    assert scan_parse(symbols["QR Code"][0]) == (sort, code)


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
@pytest.mark.parametrize("code", LONGEST)
def test_the_longest_codes(size: Size, code: str) -> None:
    label = label_of(content("bin", code), size)
    scan = scan_format("bin", code)
    both = {"QR Code": [scan], "Code 128": [scan] if has_bars(scan, size) else []}
    assert svg_read(label_svg(label)) == both
    [(symbols, text)] = pdf_pages(labels_pdf([(size, [(label, (0, 0))])]))
    assert symbols == both
    assert code in "".join(text.split())


def test_bars_are_left_out_only_where_they_would_be_too_narrow() -> None:
    assert all(has_bars(scan_format("bin", "B-14"), size) for size in SIZES.values())
    assert not any(has_bars(scan_format("bin", "W" * 40), size) for size in SIZES.values())
    # (100 - 2 * 3 mm) / 0.19 mm are 494 modules; n characters take (n + 3) * 11 + 2 + 2 * 10; 4 are not of the code.
    assert has_bars(scan_format("bin", "W" * 35), SINGLES["100x50"])
    assert not has_bars(scan_format("bin", "W" * 36), SINGLES["100x50"])


@given(st.text(ascii_letters + digits + "._-", min_size=1, max_size=40), st.sampled_from(sorted(SIZES)))
@settings(max_examples=60, deadline=None)
def test_nothing_leaves_the_label_and_all_is_wide_enough(code: str, name: str) -> None:
    size = SIZES[name]
    wide, tall = size.wide_nm / MM, size.tall_nm / MM
    square: Print
    square, *others = label_of(content("job", code), size).shapes  # type: ignore[assignment]
    left = square.x - square.symbol.quiet * square.across
    assert square.across == square.down >= LEAST_SQUARE
    for shape in others:
        if isinstance(shape, Print):
            assert shape.across >= LEAST_BAR
            quiet = 10 * shape.across
            assert shape.x - quiet >= 0 and shape.x + shape.symbol.wide * shape.across + quiet <= wide
            assert square.y + (square.symbol.tall + 4) * square.down <= shape.y
            assert shape.y + shape.down <= tall
        else:
            assert shape.x >= 0 and shape.x + shape.wide <= left + 1e-6, shape
            assert 0 < shape.y <= tall
        if isinstance(shape, Text):
            assert shape.y - shape.size * 0.8 >= 0
    foot = min([shape.y for shape in others if isinstance(shape, Print)], default=tall)
    assert all(shape.y <= foot for shape in others if isinstance(shape, Text | Rule))


@given(st.text("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ$%-.", min_size=3, max_size=82).map("%B{}".format))
@settings(max_examples=60, deadline=None)
def test_symbols_are_as_large_as_thought(text: str) -> None:
    made = segno.make_qr(text, error="m")
    assert qr_wide(text) == qr_code(text).wide == len(made.matrix) and made.mode == "alphanumeric"


def test_code_128_check_character() -> None:
    """Set B "abcdef" has 97, set C "345678" has 73 (S, C): the last but one of a symbol, before the stop."""
    for text, check in (("abcdef", 97), ("345678", 73)):
        symbol = Code128(text)
        symbol.validate()
        assert symbol.encode()[-2] == check


@pytest.mark.parametrize(
    "room, modules, wide", [(57, 143, 0.375), (30, 143, 30 / 143), (20, 143, None), (200, 143, 0.5)]
)
def test_whole_dots_where_there_is_room(room: float, modules: int, wide: float | None) -> None:
    assert module_of(room, modules, LEAST_BAR, 0.5) == wide
    assert 0.5 % DOT == 0


@pytest.mark.parametrize("name", SHEETS)
def test_a_sheet_is_read_label_by_label(name: str) -> None:
    sheet = SHEETS[name]
    codes = [f"B-{number}" for number in range(len(sheet.places) + 1)]
    labels = [label_of(content("bin", code), sheet.label) for code in codes]
    pages = [[(labels[at], place) for at, place in one] for one in spread(len(labels), sheet, 2)]
    read = pdf_pages(labels_pdf([(sheet.paper, one) for one in pages]))
    scans = [scan_format("bin", code) for code in codes]
    first = len(sheet.places) - 2
    assert [one["QR Code"] for one, _ in read] == [sorted(scans[:first]), sorted(scans[first:])]
    assert [one["Code 128"] for one, _ in read] == [sorted(scans[:first]), sorted(scans[first:])]
    assert svg_read(sheet_svg(sheet, pages[0]))["QR Code"] == sorted(scans[:first])


@pytest.mark.parametrize("size", SIZES.values(), ids=SIZES)
def test_a_badge_shows_the_name_and_its_code_in_the_symbols_alone(size: Size) -> None:
    code = "ID-7K3F9Q2M7K3F9Q2MZZYX"
    label = label_of(badge_content("rosa", "bench", code), size)
    both = {"QR Code": [code], "Code 128": [code] if has_bars(code, size) else []}
    assert svg_read(label_svg(label)) == both
    [(symbols, text)] = pdf_pages(labels_pdf([(size, [(label, (0, 0))])]))
    assert symbols == both and is_badge(symbols["QR Code"][0])
    assert text.split() == ["Badge", "rosa", "bench"]


def test_an_svg_has_no_style_and_no_markup_of_others() -> None:
    svg = label_svg(label_of(Content("Kind", "A", scan_format("kind", "A"), ['<b onclick="x">&', "č Ø"]), LEAST))
    assert "style" not in svg and "<b" not in svg and "&lt;b" in svg
    assert "? Ø" in svg
