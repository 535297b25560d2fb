"""What is told on demand beside a figure: each figure that a page names is explained, and none for nothing."""

import re
from pathlib import Path

import pytest

from plates.bench.explained import EXPLAINED

ROOT = Path(__file__).parents[2]


def named() -> set[str]:
    """What the templates ask to have explained."""
    pages = [path.read_text() for room in ("plates", "shop") for path in (ROOT / room / "templates").rglob("*.html")]
    asked = [one for page in pages for one in re.findall(r"{%\s*explain\s+(\S.*?)\s*%}", page)]
    assert all(re.fullmatch('"[^"]+"', one) for one in asked), "a name that is worked out cannot be looked up here"
    return {one.strip('"') for one in asked}


def test_every_figure_named_on_a_page_is_explained_and_no_other() -> None:
    assert named() == set(EXPLAINED)


@pytest.mark.parametrize("name", EXPLAINED)
def test_each_says_what_it_is_how_it_is_reckoned_and_by_whom(name: str) -> None:
    one = EXPLAINED[name]
    assert all(text == text.strip() != "" for text in one)
    assert one.what[0].isupper() and one.what.endswith(".")
    assert not one.source.endswith(".")  # the page ends the sentence


def test_no_two_tell_the_same() -> None:
    for texts in ([one.name for one in EXPLAINED.values()], [one.what for one in EXPLAINED.values()]):
        assert len(set(texts)) == len(texts)
