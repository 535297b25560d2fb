"""Several packs planned together: from their questions to an option of each. Nothing is saved and nothing locked here.

A plate that comes out of one of the packs may go into another of the same job: what is in a pack belongs to the job's
customer, so it never goes into a pack of another job.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from django.db.models import prefetch_related_objects

from plates.bench.lying import Lying, in_pack
from plates.bench.models import Match
from plates.bench.options import option_of
from plates.bench.pose import Posed, pose_together, takers_of
from plates.bench.question import Question
from plates.bench.reading import asked_of
from plates.bench.repeatability import method_u_nm
from plates.catalogue.selectors import STACK
from plates.matching.plan.moves import one_by_one, packs_build
from plates.matching.plan.plan import Move, Plan, plan
from plates.measuring.figures import figures_of
from plates.stock.models import Plate
from shop.people.models import Person


@dataclass(frozen=True)
class WorkedOut:
    """``options``: of each match its option without a number, or None; ``one_by_one``: how many packs close when each
    is answered by itself, one after the other, from the shelf and the benches as they are.
    """

    matches: list[Match]
    options: list[dict[str, Any] | None]
    plan: Plan
    one_by_one: int


def plan_work_out(*, person: Person, matches: Sequence[Match], seconds: float) -> WorkedOut:
    """The best plan for these matches, all of them open or held; stops after about so many seconds of solving."""
    specs = [match.spec for match in matches]
    prefetch_related_objects(specs, *STACK)
    posed = pose_together(
        [asked_of(match, match.pk if match.option_held else None) for match in matches],
        sure=person.shop.sure_level,
        measured=method_u_nm(person.shop_id, figures_of(person.shop)),
    )
    movable = _movable(matches, posed)
    moves = [move for move, _ in movable]
    problems = [one.problem for one in posed]
    best = plan(problems, moves, seconds=seconds)
    apart = one_by_one(packs_build(problems, ()), range(len(problems)))
    candidates = [*posed[0].candidates, *(one for _, one in movable)]
    options = [
        None if exchange is None else option_of(replace(one, candidates=candidates), exchange)
        for one, exchange in zip(posed, best.exchanges, strict=True)
    ]
    return WorkedOut(list(matches), options, best, sum(one is not None for one in apart.values()))


def _movable(matches: Sequence[Match], posed: Sequence[Posed]) -> list[tuple[Move, Lying]]:
    """What may go from pack to pack, and what it is."""
    ids = [entry.plate for one in posed for entries in one.entries for entry in entries if entry.plate]
    found = Plate.objects.filter(shop_id=matches[0].shop_id, pk__in=ids).select_related("kind")
    ours: Mapping[str, Plate] = {str(plate.pk): plate for plate in found}
    questions = [Question.from_json(match.question) for match in matches]
    moves = []
    for pack, one in enumerate(posed):
        for number, slot in enumerate(one.slots):
            for row, entry in enumerate(one.entries[number] if slot.swap else ()):
                plate = in_pack(matches[pack], slot, row, entry, ours.get(entry.plate))
                if plate is None:
                    continue
                ways: dict[bool, list[tuple[int, int]]] = {True: [], False: []}
                for other, (match, question) in enumerate(zip(matches, questions, strict=True)):
                    if other != pack and match.job_id == matches[pack].job_id:
                        for place in takers_of(posed[other], plate.interchange, plate.thickness_nm):
                            into = posed[other].slots[place]
                            if plate.may_go(into, question):
                                ways[plate.interchange.fit_id == into.fit_id].append((other, place))
                if ways[True] or ways[False]:
                    moves.append((Move(pack, number, row, tuple(ways[True]), tuple(ways[False])), plate))
    return moves
