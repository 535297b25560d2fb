"""What the shelf closes, at the counter: from the spec's page to a drawing, a table and what one more size adds."""

import xml.etree.ElementTree as ET
from decimal import Decimal
from itertools import pairwise

import pytest

from plates.bench.cover.drawing import cover_drawing
from plates.bench.drawing import Limits
from plates.catalogue.spec_models import Slot, Spec
from plates.lengths import length_parse
from plates.matching.cover import Segment
from tests.factories import KindFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

SVG = "{http://www.w3.org/2000/svg}"
LIMITS = Limits(length_parse("0.040 in"), length_parse("0.060 in"), length_parse("0.050 in"))
COVER = "/specs/PACK/cover/"


def segments(*rows: tuple[str, int | None], begins: str = "0.040 in") -> list[Segment]:
    """Segments that follow one another, each given by its end."""
    found, from_nm = [], length_parse(begins)
    for end, changes in rows:
        found.append(Segment(from_nm, length_parse(end), changes))
        from_nm = length_parse(end) + 1
    return found


def drawn(rows: list[Segment], unit: str = "in") -> ET.Element:
    return ET.fromstring(cover_drawing(segments=rows, limits=LIMITS, unit=unit, title="A pack"))


def bars(root: ET.Element, name: str) -> list[tuple[float, float, float]]:
    """(left, top, width) of each bar."""
    rects = [rect.attrib for rect in root.iter(f"{SVG}rect") if rect.attrib["class"] == name]
    return [(float(one["x"]), float(one["y"]), float(one["width"])) for one in rects]


def test_bars_are_to_scale_and_each_number_of_changes_has_its_row() -> None:
    root = drawn(segments(("0.060 in", 0), ("0.070 in", 1), ("0.075 in", None), ("0.080 in", 2), ("0.090 in", 1)))
    (still, first, two, last), (gap,) = sorted(bars(root, "closed")), bars(root, "gap")
    assert [bar[2] / still[2] for bar in (first, gap, two, last)] == pytest.approx([0.5, 0.25, 0.25, 0.5], abs=1e-3)
    assert still[0] + still[2] == pytest.approx(first[0], abs=0.01)
    assert still[1] < first[1] == last[1] < two[1] < gap[1]
    (window,) = bars(root, "window")
    assert (window[0], window[2]) == pytest.approx((still[0], still[2]), abs=0.01)
    assert "0.0700 in to 0.0750 in: not closed" in (root.findtext(f"{SVG}desc") or "")


def test_a_gap_of_a_nanometre_shows() -> None:
    root = drawn([Segment(1_016_000, 1_500_000, 0), Segment(1_500_001, 1_500_001, None), Segment(1_500_002, 9**8, 1)])
    assert bars(root, "gap")[0][2] >= 1


@pytest.mark.parametrize(("begins", "end"), [("0.0700 in", "0.0900 in"), ("0.0100 in", "0.0300 in")])
def test_a_window_beyond_the_span_is_not_drawn(begins: str, end: str) -> None:
    assert bars(drawn(segments((end, 1), begins=begins)), "window") == []


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("end", ["0.0401 in", "0.0500 in", "0.2400 in", "390 in"])
def test_ticks_are_few_and_round(unit: str, end: str) -> None:
    root = drawn(segments((end, None)), unit)
    labels = [one.text or "" for one in root.iter(f"{SVG}text") if one.attrib["text-anchor"] == "middle"]
    figures = [Decimal(label.split()[0]) for label in labels]
    assert len(labels) <= 8 and labels[-1].endswith(f" {unit}")
    steps = {after - before for before, after in pairwise(figures)}
    assert len(steps) <= 1 and all(str(step.normalize().as_tuple().digits) in "(1,) (2,) (5,)" for step in steps)
    assert all(figure % step == 0 for figure in figures for step in steps)


@pytest.mark.django_db
def test_from_the_spec_to_its_cover(bench: Bench, counter: Counter) -> None:
    """Three of .0771, .0771, .0768 in place of .077 reach .0002 above the window, and nothing beyond."""
    counter.open("/specs/PACK/")
    assert f'href="{COVER}"' in counter.html
    text = counter.open(COVER)
    assert "Of the 0.2000 in (5.080 mm) of readings from 0.0400 in (1.016 mm) to 0.2400 in (6.096 mm)" in text
    assert "1 change0.0600 in (1.524 mm)0.0601 in (1.527 mm)" in text
    assert "2 changes0.0601 in (1.527 mm)0.0602 in (1.529 mm)not closed" in text
    assert '<svg class="drawing cover"' in counter.html


@pytest.mark.django_db
def test_what_one_more_of_each_size_adds_best_first(bench: Bench, counter: Counter) -> None:
    for code, nominal in (("STEEL-80", "0.080 in"), ("STEEL-90", "0.090 in")):
        KindFactory.create(fit=bench.kind.fit, code=code, nominal_nm=length_parse(nominal))
    text = counter.open(COVER)
    best, other = text.index("0.0900 in (2.286 mm)steelsfit DRUM"), text.index("0.0800 in (2.032 mm)steelsfit DRUM")
    assert best < other and "any other catalogued size adds nothing: 1 size." in text


@pytest.mark.django_db
def test_other_readings_and_other_plates(bench: Bench, counter: Counter) -> None:
    text = counter.open(COVER, first="60", last=".070", slot1=".0700 .0700 .0700 .0700 .0700")
    # Three of them go: .0071 + .0071 + .0068 = .0210 closes everything asked for.
    assert "not closed" not in text and "0.0700 in (1.778 mm)" in text
    assert counter.form("")["fields"]["slot1"] == [".0700 .0700 .0700 .0700 .0700"]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("query", "said"),
    [
        ({"first": "x"}, "is not a reading"),
        ({"first": "80", "last": "70"}, "The span ends before it begins."),
        ({"slot1": ".0700 .0700"}, "It counts 5; 2 are given."),
        ({"slot1": "0.070,0.070"}, "Write a point, not a comma"),
    ],
)
def test_what_cannot_be_asked_is_said_and_stays(
    bench: Bench, counter: Counter, query: dict[str, str], said: str
) -> None:
    assert said in counter.open(COVER, **query)
    assert "today's shelf closes" not in counter.text
    fields = counter.form("")["fields"]
    assert all(fields[name] == [text] for name, text in query.items())


@pytest.mark.django_db
def test_without_a_book_size_the_plates_are_asked_for_first(bench: Bench, counter: Counter) -> None:
    Slot.objects.filter(spec=bench.spec, name="steels").update(nominal_nm=None)
    text = counter.open(COVER)
    assert "No book size: read them." in text and "today's shelf closes" not in text and "Nothing was read" not in text
    assert "Nothing was read." in counter.open(COVER, first="60")
    assert "today's shelf closes" in counter.open(COVER, slot1=" ".join([".0770"] * 5))


@pytest.mark.django_db
def test_a_set_and_a_pack_without_adjustment_say_so(bench: Bench, counter: Counter) -> None:
    for field, said in (("set_only", "A set:"), ("adjustable", "No adjustment:")):
        Spec.objects.filter(pk=bench.spec.pk).update(set_only=False, adjustable=True)
        Spec.objects.filter(pk=bench.spec.pk).update(**{field: field == "set_only"})
        text = counter.open(COVER)
        assert said in text and "No catalogued size goes into this pack." in text and "1 change" not in text


@pytest.mark.django_db
def test_a_pack_that_is_not_there(counter: Counter) -> None:
    counter.open("/specs/NOT/cover/")
    assert counter.status == 404
