"""What a label carries is read back as it was, from any scanner, and nothing else is taken for a label."""

import re
from string import ascii_letters, digits

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from plates.scan_codes import SORTS, ScanCode, checks, scan_format, scan_parse, scanned

codes = st.text(ascii_letters + digits + "._-", min_size=1, max_size=40)
sorts = st.sampled_from(sorted(SORTS))


def test_as_the_room_says() -> None:
    assert scan_format("bin", "B-14") == "%BB-14IH"
    assert scan_parse("%BB-14IH") == ("bin", "B-14")


def test_check_characters_of_the_standard() -> None:
    """ISO/IEC 7064, the standard's own example of MOD 1271-36 (M): ISO79 becomes ISO793W."""
    assert checks("ISO79") == "3W"


@given(sorts, codes)
@example("job", "aB" * 20)
@example("bin", "_" * 40)
def test_what_was_written_is_read(sort: str, code: str) -> None:
    text = scan_format(sort, code)
    assert re.fullmatch(r"[0-9A-Z$%.-]{5,84}", text)
    assert scan_parse(text) == ScanCode(sort, code)


@given(codes, codes, sorts, sorts)
def test_two_things_have_two_labels(code: str, other: str, sort: str, other_sort: str) -> None:
    same = (sort, code) == (other_sort, other)
    assert (scan_format(sort, code) == scan_format(other_sort, other)) == same


@given(sorts, codes, st.sampled_from(["", "]C0", "]Q1", "]q1", " "]), st.sampled_from(["", "\r", "\r\n", "\t"]))
def test_whatever_the_scanner_is_set_to(sort: str, code: str, before: str, behind: str) -> None:
    text = scan_format(sort, code)
    for sent in (text, text.lower(), text.swapcase()):
        assert scan_parse(before + sent + behind) == ScanCode(sort, code)


@given(codes)
def test_a_typed_code_is_no_label(code: str) -> None:
    assert scan_parse(code) is None


@given(sorts, codes, st.data())
def test_one_wrong_character_is_found(sort: str, code: str, data: st.DataObject) -> None:
    text = scan_format(sort, code)
    at = data.draw(st.integers(0, len(text) - 1))
    wrong = data.draw(st.sampled_from(digits + ascii_letters.upper() + "-.$%"))
    if wrong != text[at]:
        assert scan_parse(text[:at] + wrong + text[at + 1 :]) is None


@given(sorts, codes, st.data())
def test_two_swapped_characters_are_found(sort: str, code: str, data: st.DataObject) -> None:
    text = scan_format(sort, code)
    at = data.draw(st.integers(0, len(text) - 2))
    swapped = text[:at] + text[at + 1] + text[at] + text[at + 2 :]
    assert scan_parse(swapped) is None or swapped == text


@given(st.text())
def test_what_is_read_is_written_the_same_way(text: str) -> None:
    found = scan_parse(text)
    if found:
        assert scan_format(*found) == scanned(text).upper()


@pytest.mark.parametrize(
    "text",
    [
        "8904000210037", "]E08904000210037", "(01)08904000210037", "+A123BJC5D6E71", "%", "%B", "%BIH", "%BB-14",
        "%BB-14IG", "%%BB-14IH", "%B%14" + checks("%B%14"), "%XB-14" + checks("%XB-14"), "%BB-14IH %BB-14IH",
        "%BB-14ıH", "%B" + "A" * 41 + checks("%B" + "A" * 41),
    ],
)  # fmt: skip
def test_nothing_else_is_a_label(text: str) -> None:
    assert scan_parse(text) is None


@pytest.mark.parametrize(
    "sort, code", [("shelf", "B-14"), ("bin", ""), ("bin", "B 14"), ("bin", "Ä"), ("bin", "A" * 41)]
)
def test_what_has_no_label_says_so(sort: str, code: str) -> None:
    with pytest.raises(ValueError, match="has no label"):
        scan_format(sort, code)
