"""A pack spec is revised at the counter, and what was built by the one before stays explained."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from plates.catalogue.changes import changes
from plates.catalogue.hydraulics import hydraulics_read
from plates.catalogue.hydraulics_body import HydraulicsBody
from plates.catalogue.selectors import specs, specs_all
from plates.catalogue.spec_models import Slot, Spec
from plates.catalogue.specs import Convention, SlotData, StackLimits, spec_make
from plates.catalogue.windows import window_manual
from plates.lengths import length_parse
from tests.catalogue.test_estimates import KNOWN
from tests.factories import FitFactory, PersonFactory
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db

WHY = {"reason": "The book has a new page"}


def revise(counter: Counter, **typed: str | None) -> str:
    counter.open("/specs/PACK/revise/")
    return counter.send("", {**WHY, **typed})


def ask(counter: Counter, job: str = "J-1") -> str:
    counter.open("/close-a-pack/PACK/")
    counter.send("/close-a-pack/PACK/", {"reading": "56 56", "job": job, "go": "ask"})
    return counter.path


def test_the_form_stands_filled_and_saves_one_more_revision(counter: Counter) -> None:
    counter.open("/specs/PACK/")
    assert "/specs/PACK/revise/" in counter.html
    text = counter.open("/specs/PACK/revise/")
    assert "Revise PACK" in text and "Save as revision 2" in text and 'hx-post="/add/spec/drawing/"' in counter.html
    fields = counter.form()["fields"]
    assert (fields["slot0-count"], fields["slot0-nominal"]) == (["5"], ["0.0770 in"])
    text = counter.send("", {**WHY, "title": "Direct", "slot0-count": "4", "slot1-count": "4"})
    assert counter.path == "/specs/PACK/" and "Revision 2, by" in text and "“The book has a new page”" in text
    assert "Revision 1, by which 0 packs were built" in text
    for what, was, now in [("Title", "Pack", "Direct"), ("Slot steels, count", "5", "4")]:
        assert f'<th scope="row">{what}</th><td>{was}</td><td>{now}</td>' in counter.html
    assert "Low limit" in text
    text = counter.open("/specs/PACK/", revision="1")
    assert "Revision 1, replaced by revision 2 by" in text and "because: “The book has a new page”" in text
    assert "/close-a-pack/PACK/" not in counter.html and "/revise/" not in counter.html
    assert counter.open("/specs/").count("PACK") == 1


def test_nothing_changed_is_refused_in_words(counter: Counter) -> None:
    assert "nothing was changed. Change what is to be otherwise" in revise(counter)
    assert counter.status == 200 and Spec.objects.get().revision == 1


def test_a_reason_is_asked(counter: Counter) -> None:
    assert "Fill this in." in revise(counter, reason=" ", title="Direct")
    assert Spec.objects.count() == 1


def test_who_opened_it_before_somebody_else_revised_it_is_told(counter: Counter, bench: Bench) -> None:
    late = Counter(bench.owner)
    late.open("/specs/PACK/revise/")
    revise(counter, title="First")
    text = late.send("", {**WHY, "title": "Second"})
    assert "PACK was revised meanwhile: revision 2, by" in text and late.form()["fields"]["revision"] == ["1"]
    assert "PACK was revised meanwhile" in late.send("")  # and stays so, until it is opened anew
    assert Spec.objects.count() == 2


def test_one_more_slot_keeps_what_is_typed(counter: Counter) -> None:
    counter.open("/specs/PACK/revise/")
    counter.send("", {**WHY, "title": "Direct", "liftable": ["spread", "cone"], "more": "1"})
    fields = counter.form()["fields"]
    assert fields["liftable"] == ["spread", "cone"]
    assert (fields["title"], fields["slot0-name"], fields["reason"]) == (["Direct"], ["steels"], [WHY["reason"]])
    assert (fields["rows"], fields["revision"]) == (["4"], ["1"])
    assert Spec.objects.count() == 1


@pytest.mark.parametrize("revision", [None, "x", "-1", "99999"])
def test_a_form_without_its_revision_is_refused(counter: Counter, revision: str | None) -> None:
    assert "without the revision" in revise(counter, revision=revision, title="Direct")
    assert counter.status == 400


@pytest.mark.parametrize("path", ["/specs/NONE/revise/", "/specs/PACK/?revision=2", "/specs/PACK/?revision=x"])
def test_what_is_not_there_is_a_404(counter: Counter, path: str) -> None:
    counter.open(path)
    assert counter.status == 404


def test_the_bench_reads_and_does_not_revise(bench: Bench) -> None:
    hand = Counter(PersonFactory.create(shop=bench.owner.shop, role="bench"))
    hand.open("/specs/PACK/")
    assert "/revise/" not in hand.html
    hand.open("/specs/PACK/revise/")
    assert "Save as revision" not in hand.text


def test_a_match_says_by_which_revision_it_was_asked(counter: Counter) -> None:
    path = ask(counter)
    assert "revision" not in counter.text
    revise(counter, title="Direct")
    text = counter.open(path)
    assert "PACK, revision 1" in text and "Revised since: this pack was asked by revision 1" in text
    assert "/specs/PACK/?revision=1" in counter.html and "/close-a-pack/PACK/?again=1" in counter.html
    counter.send("/take/")
    text = counter.open("/matches/1/slip/")
    assert "Slip 1: PACK, revision 1" in text and "Revised since" in text
    assert "PACK, revision 1" in counter.open("/matches/1/build-sheet/")
    assert "PACK, revision 1" in counter.open("/jobs/J-1/")
    assert "Revision 1, by which 1 pack was built" in counter.open("/specs/PACK/")
    ask(counter, "J-2")
    assert "PACK, revision 2" in counter.text and "Revised since" not in counter.text


def test_asked_again_by_the_current_one_what_was_typed_stands(counter: Counter) -> None:
    ask(counter)
    revise(counter, title="Direct")
    text = counter.open("/close-a-pack/PACK/", again="1")
    assert "match 1 was asked by revision 1; this is revision 2" in text
    assert counter.form("/close-a-pack/PACK/")["fields"]["reading-kept"] == ["56 thou", "56 thou"]


def test_readings_of_a_clearance_are_not_taken_for_a_height(counter: Counter) -> None:
    ask(counter)
    revise(counter, measures="height", source="manual", low="0.9 in", high="0.95 in", reference="Bench book, page 4")
    counter.open("/close-a-pack/PACK/", again="1")
    assert "reading-kept" not in counter.form("/close-a-pack/PACK/")["fields"]


def test_the_current_one_is_found(counter: Counter) -> None:
    revise(counter, title="Direct")
    counter.open("/find/", q="PACK")
    assert counter.path == "/specs/PACK/", counter.text
    assert "Direct" in counter.open("/close-a-pack/", find="PACK") and counter.path == "/close-a-pack/PACK/"
    counter.open("/specs/PACK/cover/")
    assert counter.status == 200


@pytest.mark.parametrize("unit_first", ["in", "mm"])
def test_all_that_a_spec_may_say_stands_again(bench: Bench, unit_first: str) -> None:
    """Filled in from what stands and sent as it is, the form says the same: nothing was changed."""
    owner = bench.owner
    owner.shop.unit_first = unit_first
    owner.shop.save()
    sibling = FitFactory.create(shop=owner.shop, code="SIBLING")
    fit = bench.kind.fit
    said = HydraulicsBody(data={**KNOWN, "pressure": {"value": "550 kPa", "also": "111 psi", "governs": "kPa"}})
    said.is_valid(raise_exception=True)
    spec_make(
        person=owner,
        code="ALL",
        title="All",
        measures="gap",
        window=window_manual(low="0 in", high="0.06005 in", reference="p" * 300, target_nm=length_parse("1 mm")),
        slots=[
            SlotData("steels", "steel", fit, 2, swap=True, extra=2, nominal_nm=1_234_567, reuse_minimum_nm=1_000_000,
                     cone_limit_nm=127, thinnest_nm=1_000_001, thickest_nm=2_000_000, material="hard", facing="none",
                     place="on top", fits=[sibling]),
            SlotData("lined", "friction", sibling, 0, lined_faces=1),
            SlotData("wave", "wave", fit, 1),
        ],
        limit_low_nm=0,
        limit_high_nm=length_parse("2 mm"),
        wave_nm=(length_parse("0.09 in"), length_parse("1.7 mm")),
        reads=Convention("free", "feeler", "soaked", "20 lb"),
        limits=StackLimits(0, 30_000_000, ["spread", "cone"]),
        hydraulics=hydraulics_read(said.validated_data),
        adjustable=False,
        set_only=True,
    )  # fmt: skip
    counter = Counter(owner)
    counter.open("/specs/ALL/revise/")
    form = counter.form()
    form["fields"]["liftable"] = ["spread", "cone"]
    text = counter.send("", WHY)
    assert "That is ALL as it stands" in text, text
    counter.open("/specs/ALL/revise/")
    counter.send("", {**WHY, "title": "Other", "liftable": ["spread", "cone"]})
    before, after = specs_all(owner.shop_id).filter(code="ALL").order_by("revision")
    assert [one.what for one in changes(before, after)] == ["Title"]
    assert Slot.objects.filter(spec=after).count() == 3


def test_more_revisions_take_no_more_queries(counter: Counter, bench: Bench) -> None:
    counts: dict[str, set[int]] = {}
    for number in range(1, 4):
        ask(counter, f"J-{number}")
        revise(counter, title=f"Title {number}")
        for path in ("/specs/PACK/", "/specs/PACK/?revision=1", "/specs/", "/matches/1/", "/jobs/J-1/"):
            with CaptureQueriesContext(connection) as captured:
                counter.open(path)
            counts.setdefault(path, set()).add(len(captured))
    assert {path: len(found) for path, found in counts.items()} == dict.fromkeys(counts, 1), counts
    assert specs(bench.owner.shop_id).get().revision == 4
