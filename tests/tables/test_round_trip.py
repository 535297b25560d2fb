"""What an export holds, an import takes: the same rows, whatever the texts; and no spreadsheet runs any of it."""

import csv
import io
import re
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from plates.catalogue.models import Kind
from plates.lengths import LONGEST_NM, length_parse
from plates.stock.findings import Findings, Reading, Tags
from plates.stock.ledger import Change, ledger_write
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import Bin, Plate, State
from plates.stock.services import lot_receive, plate_receive
from plates.tables.cells import exact, guarded, unguarded
from plates.tables.columns import BINS, KINDS, PLATES, Sort, many_apart, many_barred
from plates.tables.export import export, lines
from plates.tables.services import table_check, table_write
from shop.people.models import Person
from tests.factories import BinFactory, FitFactory, KindFactory, PersonFactory, shelve
from tests.tables.conftest import Desk

pytestmark = pytest.mark.django_db

#: Texts as the services keep them: trimmed, of one line, and without what an import refuses by name.
TEXTS = st.text(
    st.one_of(
        st.sampled_from("=+-@'\",;|x "), st.characters(blacklist_categories=["Cc", "Cf", "Cs", "Zl", "Zp"])
    ),
    max_size=12,
).map(str.strip)


SIGNS = st.text(st.sampled_from("=+-@＝\t\r\n'\";,|x "), max_size=12)


@given(st.text() | SIGNS)
def test_the_guard_comes_off_exactly(text: str) -> None:
    assert unguarded(guarded(text)) == text
    assert not guarded(text).startswith(("=", "+", "-", "@", "\t", "\r"))


@given(st.lists(st.text() | SIGNS, min_size=1, max_size=4))
def test_no_spreadsheet_finds_a_formula_whatever_it_takes_for_the_end_of_a_cell(texts: list[str]) -> None:
    _, line = lines([str(place) for place in range(len(texts))], [{str(at): text for at, text in enumerate(texts)}])
    assert next(csv.reader(io.StringIO(line, newline=""))) == [guarded(text) for text in texts]
    for cell in re.split("[;\t\r\n]", line):
        assert not re.match('"*[=+@＝-]', cell), line


@given(st.integers(1, LONGEST_NM), st.sampled_from(["in", "mm"]))
def test_a_length_reads_back_to_the_nanometre(length_nm: int, unit: str) -> None:
    assert length_parse(exact(length_nm, unit)) == length_nm


def file_of(person: Person, sort: Sort) -> bytes:
    return "".join(export(person.shop, sort)).encode()


def cells(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def moved(person: Person, sort: Sort, content: bytes) -> Person:
    """A shop of its own with the same fits, kinds and bins as far as the file needs them, the file imported."""
    other = PersonFactory.create()
    fit = FitFactory.create(shop=other.shop, code="DRUM")
    if sort is PLATES:
        KindFactory.create(fit=fit, code="S-77")
        BinFactory.create(fit=fit, code="B-14")
    written = table_write(person=other, sort=sort, content=content)
    assert written.good == written.rows
    return other


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.fixed_dictionaries(dict.fromkeys(("mark", "material", "facing", "groove"), TEXTS)), max_size=4))
def test_kinds_go_round(owner: Person, texts: list[dict[str, str]]) -> None:
    Kind.objects.filter(shop=owner.shop, code__startswith="-").delete()
    fit = Kind.objects.get(shop=owner.shop).fit
    for row, said in enumerate(texts):
        KindFactory.create(fit=fit, code=f"-{row}", tolerance_nm=row * 7 + 1, lead_days=row, **said)
    content = file_of(owner, KINDS)
    assert file_of(moved(owner, KINDS, content), KINDS) == content
    assert len(cells(content)) == len(texts) + 2


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.fixed_dictionaries(dict.fromkeys(("source", "owner", "box", "mark"), TEXTS)),
            st.lists(st.integers(1_940_000, 1_970_000), min_size=1, max_size=3),
            st.sampled_from(["new", "used"]),
            st.none() | st.integers(0, 90_000),
            st.none() | st.booleans(),
        ),
        max_size=4,
    )
)
def test_plates_go_round(owner: Person, told: list[tuple[Any, ...]]) -> None:
    kind = Kind.objects.get(shop=owner.shop)
    before = Plate.objects.filter(shop=owner.shop).count()
    for tags, points, condition, cone_nm, hot in told:
        plate_receive(
            person=owner,
            kind=kind,
            reading=Reading([f"{point} um" for point in points], points),
            tags=Tags(condition, findings=Findings(cone_nm, hot_spot=hot or None), **tags),
            confirm=True,
        )
    content = file_of(owner, PLATES)
    assert len(cells(content)) == before + len(told) + 1
    if before + len(told):
        other = moved(owner, PLATES, content)
        assert file_of(other, PLATES) == content
        kept = "state", "thickness_nm", "spread_nm", "condition", "source", "owner", "box", "mark"
        assert [*Plate.objects.filter(shop=other.shop).values_list(*kept)] == [
            *Plate.objects.filter(shop=owner.shop).values_list(*kept)
        ]


@given(st.lists(TEXTS.filter(bool), max_size=4))
def test_several_texts_of_one_cell_read_back_whatever_bars_are_in_them(texts: list[str]) -> None:
    assert many_apart(many_barred(texts)) == texts


def test_barcodes_with_bars_go_round(owner: Person) -> None:
    kind = Kind.objects.get(shop=owner.shop)
    for code in ("A | B", "|", "C|D", "E ||"):
        kind.scan_codes.create(shop=owner.shop, code=code)
    content = file_of(owner, KINDS)
    other = moved(owner, KINDS, content)
    assert set(Kind.objects.get(shop=other.shop).scan_codes.values_list("code", flat=True)) == {
        "A | B", "|", "C|D", "E ||",
    }  # fmt: skip
    assert file_of(other, KINDS) == content


def test_bins_go_round(owner: Person) -> None:
    content = file_of(owner, BINS)
    assert file_of(moved(owner, BINS, content), BINS) == content
    assert cells(content) == [
        ["code", "fit", "role", "from", "to"],
        ["B-14", "DRUM", "steel", "0.0765 in", "0.0775 in"],
    ]


def test_an_export_holds_what_is_in_the_shop_and_says_what_was_not_read(owner: Person, desk: Desk) -> None:
    kind = Kind.objects.get()
    shelve(owner, kind, "0.0771 in", mark="=cmd()")
    (gone,) = shelve(owner, kind, "0.0772 in")
    change = Change(gone.pk, 1, State.SCRAPPED)
    ledger_write(person=owner, act=Act.SCRAPPED, changes=[change])
    reading = Reading(["0.0770 in"], [length_parse("0.0770 in")])
    lot_receive(person=owner, kind=kind, count=2, readings=[reading], tags=Tags())
    heads, *rows = cells(desk.export("plates"))
    at = {name: place for place, name in enumerate(heads)}
    assert [(row[at["thickness"]], row[at["mark"]], row[at["unread"]]) for row in rows] == [
        ("0.0771 in", "'=cmd()", ""), ("0.0770 in", "", ""), ("0.0770 in", "", "yes"),
    ]  # fmt: skip
    checked = table_check(person=owner, sort=PLATES, content=desk.export("plates"))
    assert [(problem.line, problem.column) for problem in checked.problems] == [(4, "unread")]


@pytest.mark.parametrize("sort", ["kinds", "bins", "plates"])
def test_an_export_asks_no_more_for_more_rows(owner: Person, desk: Desk, sort: str) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            desk.export(sort)
        return len(queries)

    kind = Kind.objects.get()
    shelve(owner, kind, "0.0771 in")
    few = asked()
    for row in range(5):
        made = KindFactory.create(fit=FitFactory.create(shop=owner.shop), code=f"K-{row}")
        BinFactory.create(fit=made.fit)
        shelve(owner, made, "0.0771 in")
    assert asked() == few
    assert Bin.objects.count() == 6 and LedgerLine.objects.count() == 6
