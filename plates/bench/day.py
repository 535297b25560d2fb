"""The day on the benches: every pack that is not closed, the most urgent first."""

import uuid
from collections import Counter
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.views.decorators.http import require_GET

from plates.bench import selectors
from plates.bench.models import MatchState
from plates.bench.shown import verdict
from shop.web import PageRequest, page, shown

#: Of each state so many at most; the rest is counted, and listed under Matches.
MOST = 50


@dataclass(frozen=True)
class Waiting:
    """The packs of one state: the first of them, each with its verdict in words, and how many more there are."""

    state: str
    title: str
    packs: list[tuple[Any, str]]
    more: int


def waiting(shop_id: uuid.UUID) -> list[Waiting]:
    """Held ones by the time they have left, taken ones by how long their final check is due, open ones the latest
    first. One query a state, and one more to count where there are more than :data:`MOST`.
    """
    rows = selectors.matches(shop_id).filter(state__in=[MatchState.OPEN, MatchState.HELD, MatchState.TAKEN])
    orders = [
        (MatchState.HELD, "Held: time runs out", ("held_until", "number")),
        (MatchState.TAKEN, "Taken: the final check is due", ("taken_at", "number")),
        (MatchState.OPEN, "Open: asked, nothing taken", ("-number",)),
    ]
    found = []
    for state, title, order in orders:
        of_state = rows.filter(state_now=state)  # type: ignore[misc]
        packs = list(of_state.order_by(*order)[: MOST + 1])
        more = of_state.count() - MOST if len(packs) > MOST else 0
        if packs:
            found.append(Waiting(state, title, [(match, verdict(match)) for match in packs[:MOST]], more))
    return found


@require_GET
@page
def day(request: PageRequest) -> HttpResponse:
    """What waits on the benches, and one tap from each to what is due."""
    found = waiting(request.user.shop_id)
    jobs = Counter(
        match.job.code for part in found if part.state != MatchState.TAKEN for match, _ in part.packs if match.job
    )
    context = {
        "waiting": found,
        "several": [(job, count) for job, count in sorted(jobs.items()) if count > 1],
    }
    return shown(request, "plates/day.html", context)
