"""A table checked, and written: all of its rows or none, by the services that every other way in goes through."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import transaction

from plates.catalogue.kinds import KindData, kinds_make
from plates.catalogue.models import Kind
from plates.catalogue.selectors import fits, kinds
from plates.lengths import LengthError, both, length_parse
from plates.stock.arrivals import Arrival, LotArrival, arrivals_book, arrivals_judge
from plates.stock.bins import bins_make
from plates.stock.bodies import reading_of, tags_of
from plates.stock.lots import LotJudged
from plates.stock.models import Bin
from plates.stock.selectors import bins
from plates.stock.tally import lies_in
from plates.tables.bodies import Reader, twice
from plates.tables.columns import BINS, KINDS, PLATES, Sort
from plates.tables.decoding import Problem, Table, TableRefused, table_of
from shop.errors import Refusal
from shop.people.models import Person

UNREAD = "It carries the mean of its lot. Read it, write the reading, and leave this blank."


@dataclass
class Checked:
    """What a file would write. ``good``: rows without a problem; ``warnings``: what to know of rows that come in, each
    with their lines; ``lots``: what becomes of each lot, by its line."""

    sort: Sort
    notes: list[str]
    rows: int
    good: int = 0
    problems: list[Problem] = field(default_factory=list)
    warnings: dict[str, list[int]] = field(default_factory=dict)
    lots: dict[int, str] = field(default_factory=dict)


class RowsRefused(Refusal):
    code, title = "bad_rows", "Some rows of this file cannot be written"

    def __init__(self, checked: Checked) -> None:
        super().__init__("Nothing was written. Put right what is named below, and check the file again.")
        self.checked = checked


class _Undo(Exception):
    """Ends a trial: what it wrote goes."""


#: A body, and the line and column to blame for what is wrong with it.
Bodies = Sequence[tuple[int, dict[str, Any]]]
#: Writes rows of one sort, and says which of them are refused, by their places.
Make = Callable[[Person, Sequence[dict[str, Any]]], dict[int, Refusal]]


def table_check(*, person: Person, sort: Sort, content: bytes) -> Checked:
    """Everything that would be wrong with this file, and what to know of it; nothing is written.

    Raises TableRefused, Forbidden.
    """
    return _run(person, sort, content, made_key=None, write=False)


def table_write(*, person: Person, sort: Sort, content: bytes, made_key: str | None = None) -> Checked:
    """Write all rows, inside the transaction of the caller. Raises TableRefused, RowsRefused, Forbidden."""
    checked = _run(person, sort, content, made_key=made_key, write=True)
    if checked.problems:
        raise RowsRefused(checked)
    return checked


def _run(person: Person, sort: Sort, content: bytes, *, made_key: str | None, write: bool) -> Checked:
    person.require(sort.right)
    table = table_of(content, sort)
    checked = Checked(sort, table.notes, len(table.rows) + len({problem.line for problem in table.problems}))
    checked.problems += table.problems + twice(table, sort)
    bodies = _bodies(table, checked)
    if sort in (KINDS, BINS):
        _coded(person, checked, bodies, _kinds if sort is KINDS else _bins, write)
    else:
        _plates(person, checked, bodies, made_key, write)
    checked.problems.sort(key=lambda problem: problem.line)
    checked.good = checked.rows - len({problem.line for problem in checked.problems})
    return checked


def _bodies(table: Table, checked: Checked) -> Bodies:
    """The rows that can be read and whose code stands there once."""
    reader, bodies = Reader(table, checked.sort), []
    bad = {problem.line for problem in checked.problems}
    for row in table.rows:
        body, problems = reader.read(row)
        checked.problems += problems
        if not problems and row.line not in bad:
            bodies.append((row.line, body))
    if reader.commas:
        checked.notes.append(f"{reader.commas} decimal commas were read as points.")
    return bodies


def _found(bodies: Bodies, name: str, known: dict[str, Any], what: str, checked: Checked) -> Bodies:
    """The rows of which the code in this column means something; the others become problems."""
    good = []
    for line, body in bodies:
        code = body.get(name)
        if code and code not in known:
            checked.problems.append(Problem(line, name, f"There is no {what} {code!r} in this shop. Make it first."))
        else:
            good.append((line, body))
    return good


def _blamed(sort: Sort, line: int, refusal: Refusal) -> Problem:
    """The problem that a service's refusal is, in the column that it points at."""
    member = refusal.errors[0][0].split("/")[1] if refusal.errors else ""
    return Problem(line, next((one.name for one in sort.columns if one.at == member), ""), refusal.detail)


def _coded(person: Person, checked: Checked, bodies: Bodies, make: Make, write: bool) -> None:
    """Make rows that have a code of their own. A check does so, too, and takes all of it back: what the database would
    refuse, only the database knows.
    """
    shop_id = person.shop_id
    there = kinds(shop_id) if checked.sort is KINDS else bins(shop_id)
    taken = set(there.filter(code__in={body["code"] for _, body in bodies}).values_list("code", flat=True))
    for line, body in bodies:
        if body["code"] in taken:
            text = f"{body['code']!r} is there already. An import adds and changes nothing: leave this row out."
            checked.problems.append(Problem(line, "code", text))
    fresh = [(line, body) for line, body in bodies if body["code"] not in taken]
    known = {fit.code: fit for fit in fits(shop_id).filter(code__in={body["fit"] for _, body in fresh})}
    good = _found(fresh, "fit", known, "fit", checked)
    try:
        with transaction.atomic():
            refused = make(person, [{**body, "fit": known[body["fit"]]} for _, body in good])
            checked.problems += [_blamed(checked.sort, good[place][0], why) for place, why in refused.items()]
            if not write or checked.problems:
                raise _Undo
    except _Undo:
        pass


def _kinds(person: Person, bodies: Sequence[dict[str, Any]]) -> dict[int, Refusal]:
    lengths = {column.name for column in KINDS.columns if column.length}
    told = [
        KindData(**{f"{name}_nm" if name in lengths else name: value for name, value in body.items()})
        for body in bodies
    ]
    return kinds_make(person=person, kinds=told).refused


def _bins(person: Person, bodies: Sequence[dict[str, Any]]) -> dict[int, Refusal]:
    told = [
        Bin(
            shop_id=person.shop_id,
            code=body["code"],
            fit=body["fit"],
            role=body["role"],
            from_nm=body["from"],
            to_nm=body["to"],
        )
        for body in bodies
    ]
    return bins_make(person=person, bins=told)


def _plates(person: Person, checked: Checked, bodies: Bodies, made_key: str | None, write: bool) -> None:
    found = Kind.objects.filter(shop_id=person.shop_id, code__in={body["kind"] for _, body in bodies})
    known = {kind.code: kind for kind in found.select_related("fit")}
    named = bins(person.shop_id).filter(code__in={body["bin"] for _, body in bodies if body.get("bin")})
    known_bins = {one.code: one for one in named}
    bodies = _found(bodies, "kind", known, "kind", checked)
    bodies = _found(bodies, "bin", known_bins, "bin", checked)
    plates = sum(body.get("count", 1) for _, body in bodies)
    if plates > PLATES.most:
        raise TableRefused(f"The file holds {plates} plates with its lots, more than {PLATES.most}. Send it in parts.")
    lines, arrivals = [], []
    for line, body in bodies:
        try:
            arrivals.append(_arrival(body, known[body["kind"]], known_bins.get(body.get("bin", ""))))
            lines.append(line)
        except Refusal as refusal:
            checked.problems.append(_blamed(checked.sort, line, refusal))
    judged = arrivals_judge(person=person, arrivals=arrivals)
    for place, why in judged.refused.items():
        problem = _blamed(checked.sort, lines[place], why)
        if why.code == "implausible":
            problem = replace(problem, text=f"{problem.text} To confirm, write yes in a column confirm.")
        checked.problems.append(problem)
    for place, said in judged.warnings.items():
        for warning in said:
            checked.warnings.setdefault(warning["text"], []).append(lines[place])
    checked.lots = {lines[place]: _lot_told(one, person.shop.unit_first) for place, one in judged.lots.items()}
    if write and not checked.problems:
        arrivals_book(person=person, judged=judged, made_key=made_key)


def _lot_told(one: LotJudged, unit_first: str) -> str:
    """What becomes of a lot: its figures, and how many of its plates go where."""
    lot, where = one.lot, Counter(lies_in(plate.state, plate.bin) for plate in one.plates)
    laid = ", ".join(f"{count} in {place}" for place, count in where.items())
    return (
        f"{lot.count} of {lot.kind.code}, {lot.measured} measured: mean {both(lot.mean_nm, unit_first)}, "
        f"spread {both(lot.spread_nm, unit_first)}. {laid}."
    )


class BadRow(Refusal):
    code, title = "bad_row", "This row does not go together"


def _arrival(body: dict[str, Any], kind: Kind, chosen_bin: Bin | None) -> Arrival | LotArrival:
    """Raises BadRow."""
    if body.get("unread"):
        raise BadRow(UNREAD, [("/unread", "read it")])
    if body.get("count", 1) > 1:
        return _lot_arrival(body, kind, chosen_bin)
    reading = reading_of(body["readings"])
    if taper := body.get("taper"):
        if len(reading.points_nm) > 1:
            raise BadRow("Several points say the taper themselves. Leave it blank.", [("/taper", "leave it blank")])
        try:
            taper_nm = length_parse(taper)
        except LengthError as error:
            raise BadRow(str(error), [("/taper", "is a length")]) from None
        reading = replace(reading, typed=[f"{reading.texts[0]}, taper {taper}"], taper_nm=taper_nm)
    return Arrival(kind, reading, tags_of(body), chosen_bin, body["confirm"])


def _lot_arrival(body: dict[str, Any], kind: Kind, chosen_bin: Bin | None) -> LotArrival:
    """Raises BadRow."""
    if "taper" in body:
        raise BadRow(
            "A taper is of one plate. Leave it blank, or write that plate on a line of its own.",
            [("/taper", "leave it blank")],
        )
    readings = [reading_of(pairs) for pairs in body["readings"]]
    return LotArrival(kind, body["count"], readings, tags_of(body), chosen_bin, body["confirm"])
