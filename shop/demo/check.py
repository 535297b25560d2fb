"""One demo pack answered in the terminal: asked, taken, slip, ledger, and whether shelf and ledger agree."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from functools import partial
from typing import Any, Protocol

from plates.bench.ask import match_ask
from plates.bench.models import Job, Match, MatchState
from plates.bench.question import Entry, Question
from plates.catalogue.models import Kind
from plates.catalogue.selectors import specs
from plates.catalogue.windows import counted_frictions
from plates.lengths import both, half_even, length_parse, thou
from plates.stock.ledger_models import Act, LedgerLine
from plates.stock.models import Plate, State
from plates.stock.services import Reading, Tags, lot_receive
from plates.stock.verify import differences
from shop.demo.crew import Crew, committed
from shop.people.models import Shop

PACK = "QUERN-DIRECT"
READINGS = ["0.0740 in", "0.0745 in", "0.0735 in"]
INSTALLED = ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]
#: Booked in when earlier checks have emptied the shelf: three of these close the pack.
DELIVERY = "QUERN-STEEL-0770"


class CheckFailed(Exception):
    """Something is off; ``str(error)`` says what."""


class Out(Protocol):
    def write(self, text: str) -> object: ...


def demo_check(shop: Shop, out: Out) -> None:
    """Answer one pack as rosa, take its plates and show all of it. Raises :class:`CheckFailed`, and any Refusal.

    It may be run any number of times and beside a running demo: when the shelf has become too empty, a delivery is
    booked first.
    """
    crew = Crew.of(shop)
    match = _asked(crew)
    if match.state != MatchState.TAKEN:
        out.write(f"No sure answer is left on the shelf (match {match.number} stays open): a delivery is booked.")
        _deliver(crew)
        match = _asked(crew)
    for line in _report(match, crew):
        out.write(line)
    if match.state != MatchState.TAKEN:
        raise CheckFailed(f"Match {match.number} found no sure option on the shelf.")
    lines = list(
        LedgerLine.objects.filter(shop=shop, match=match)
        .select_related("plate__kind", "bin", "person")
        .order_by("at", "id")
    )
    out.write("\nLedger")
    for text in _table(["at (UTC)", "act", "kind", "bin", "thickness", "change", "left", "by"], map(_line, lines)):
        out.write(text)
    _taken_check(match, lines)
    found = [f"plate {plate}: {what} is {now}, the ledger says {then}" for plate, what, now, then in differences()]
    if found:
        raise CheckFailed("Shelf and ledger differ: " + "; ".join(found))
    counts = Plate.objects.filter(shop=shop).count(), LedgerLine.objects.filter(shop=shop).count()
    out.write(f"\n{counts[0]} plates, {counts[1]} ledger lines: shelf and ledger agree.")
    out.write(
        "A prediction is arithmetic: measure the assembled pack. The service manual, local codes and licensed practice "
        "supersede it."
    )


def _asked(crew: Crew) -> Match:
    """Asked, and the first sure option taken in the same breath, so that nobody comes between."""
    question = Question(
        method="feeler",
        texts=READINGS,
        readings_nm=[length_parse(text) for text in READINGS],
        installed={"steels": [Entry(length_parse(text)) for text in INSTALLED]},
    )
    job = f"CHECK-{Job.objects.filter(shop=crew.bench.shop, code__startswith='CHECK-').count() + 1}"
    spec = specs(crew.bench.shop_id).get(code=PACK)
    return match_ask(person=crew.bench, spec=spec, question=question, run=committed, job=job, take=True)


def _deliver(crew: Crew) -> None:
    kind = Kind.objects.select_related("fit").get(shop=crew.counter.shop, code=DELIVERY)
    texts = ["0.0770 in", "0.0771 in", "0.0769 in", "0.0772 in", "0.0768 in"]
    readings = [Reading([text], [length_parse(text)]) for text in texts]
    tags = Tags(source="delivery for the check")
    committed(partial(lot_receive, person=crew.counter, kind=kind, count=20, readings=readings, tags=tags))


def _taken_check(match: Match, lines: Sequence[LedgerLine]) -> None:
    """What the slip names has left the shelf, with one ledger line a plate."""
    slip = sorted(row["plate"] for row in match.slip)
    taken = sorted(str(line.plate_id) for line in lines if line.act == Act.TAKEN)
    if not slip or slip != taken:
        raise CheckFailed(f"The slip names {len(slip)} plates and the ledger has {len(taken)} lines of their taking.")
    there = Plate.objects.filter(pk__in=slip, state=State.TAKEN, match=match).count()
    if there != len(slip):
        raise CheckFailed(f"{len(slip) - there} plates of the slip are not taken for match {match.number}.")


def _report(match: Match, crew: Crew) -> Iterator[str]:
    spec, job = match.spec, match.job
    words = {"in_window": "in the window", "high": "high: too loose", "low": "low: too tight"}
    yield f"Match {match.number}, job {job.code if job else '-'}: {spec.code}, {spec.title}; asked by {crew.bench}"
    yield f"  read       {', '.join(match.readings)}, by {match.method}"
    yield f"  clearance  {both(match.clearance_nm)}, u {both(half_even(match.u_nm))}"
    yield (
        f"  window     {both(match.low_nm)} to {both(match.high_nm)}, target {both(match.target_nm)}; "
        f"rule of the trade for {counted_frictions(match.faces)} counted frictions"
    )
    yield f"  verdict    {words[match.verdict]}"
    for item in match.cautions:
        yield f"  caution    {item['text']}"
    yield "\nOptions"
    heads = ["no.", "way", "changes", "predicted", "margin", "u", "in the window", ""]
    yield from _table(heads, (_option(match, option) for option in match.options))
    if match.slip:
        yield f"\nSlip: option {match.option_taken} is taken"
        fetched = Counter((row["bin"] or "unsorted", row["kind"], row["thickness_nm"]) for row in match.slip)
        for (home, kind, nm), count in sorted(fetched.items()):
            yield f"  take {count} from {home}: {kind}, {both(nm)}"
        chosen = next(option for option in match.options if option["number"] == match.option_taken)
        for row in chosen["out"]:
            yield f"  out comes {both(row['thickness_nm'])} ({row['slot']})"


def _option(match: Match, option: dict[str, Any]) -> list[str]:
    margin_nm = min(option["predicted_nm"] - match.low_nm, match.high_nm - option["predicted_nm"])
    return [
        str(option["number"]),
        option["way"],
        str(option["changes"]),
        both(option["predicted_nm"]),
        f"{thou(margin_nm)} thou",
        both(half_even(option["u_nm"])),
        f"{100 * option['probability']:.1f} %",
        option["confidence"],
    ]


def _line(line: LedgerLine) -> list[str]:
    return [
        f"{line.at:%Y-%m-%d %H:%M:%S}",
        line.get_act_display(),
        line.plate.kind.code,
        line.bin.code if line.bin else "-",
        both(line.thickness_nm),
        f"{line.delta:+d}",
        str(line.balance),
        line.person.username,
    ]


def _table(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Iterator[str]:
    """The rows under their heads, in columns."""
    table = [list(heads), *map(list, rows)]
    widths = [max(len(row[column]) for row in table) for column in range(len(heads))]
    for row in table:
        yield "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
