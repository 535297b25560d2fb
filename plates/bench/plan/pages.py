"""The bench plan at the counter: several packs side by side, what goes from one to the other, and all of it taken."""

import re
import uuid
from dataclasses import dataclass
from typing import Any

from django.http import HttpResponse
from django.shortcuts import redirect

from plates.bench import selectors
from plates.bench import shown as views
from plates.bench.cautions import raised
from plates.bench.models import Match
from plates.bench.plan.answers import plan_json
from plates.bench.plan.bodies import MOST
from plates.bench.plan.plan import SECONDS, PlanMoved, Planned, Take, bench_plan
from shop.errors import KeyReused, Malformed, Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, forbidden, key_new, once_of, page, shown

#: Two calls of a request may solve.
WORKING = f"Working out the plan: mostly a few seconds, {2 * SECONDS:.0f} at most."
SENT = "This was sent already, and has counted. Nothing was done twice; the plan shown is fresh."

#: What to tick, where a tick is the way out of a refusal of this code.
TICK = {
    "marginal": " Tick “Take the marginal ones, too” to accept it.",
    "count_first": " Tick “I have counted the plates of these packs”.",
}


@dataclass(frozen=True)
class Row:
    """One pack of the plan, with what is planned for it or None; ``gets``: (thickness in nm, number of the match that
    it comes out of) of what goes from pack to pack.
    """

    match: Match
    verdict: str
    one: views.Shown | None
    taken: bool
    gets: list[tuple[int, int]]


def _answer(planned: Planned) -> Answer:
    return Answer(200, plan_json(planned))


@page
def together(request: PageRequest) -> HttpResponse:
    """Plan the matches that were chosen, or take the plan that is shown; a refusal stands beside a fresh plan."""
    if request.method != "POST":
        return redirect("matches")
    ids, take, said = _chosen(request), _take(request), ""
    try:
        once = once_of(request)
        body = (once.replay() or _plan(once, ids, take)).body
    except KeyReused:
        said, body = SENT, _plan(Once(request.user), ids, None).body
    except PlanMoved as moved:
        said, body = moved.detail, plan_json(moved.planned)
    except Refusal as refusal:
        if take is None:
            raise
        said, body = refusal.detail + TICK.get(refusal.code, ""), _plan(Once(request.user), ids, None).body
    return _page(request, body, said)


def _plan(once: Once, ids: list[uuid.UUID], take: Take | None) -> Answer:
    return bench_plan(person=once.person, match_ids=ids, take=take, run=lambda effect: once.run(effect, _answer))


def _chosen(request: PageRequest) -> list[uuid.UUID]:
    """The matches by their numbers, in the order of the page. Raises Malformed."""
    numbers = list(dict.fromkeys(request.POST.getlist("match")))
    if not 1 <= len(numbers) <= MOST or not all(re.fullmatch("[0-9]{1,17}", text) for text in numbers):
        raise Malformed(f"Choose the matches to plan together: 1 to {MOST} of them, by their ticks in the list.")
    rows = selectors.matches(request.user.shop_id).filter(number__in=numbers).values_list("number", "pk")
    known = {str(number): pk for number, pk in rows}
    if unknown := [text for text in numbers if text not in known]:
        raise Malformed(f"No match has the number {unknown[0]}.")
    return [known[text] for text in numbers]


def _take(request: PageRequest) -> Take | None:
    """What is to be taken: all, or the chosen ones; exactly what was shown, in either case."""
    go, person = request.POST.get("go", ""), request.user
    if go not in ("all", "chosen"):
        return None
    shown_then: dict[str, int | None] = {}
    for text in request.POST.getlist("shown"):
        if not (pair := re.fullmatch("([0-9]{1,17}):([0-9]{0,6})", text)):
            raise Malformed("The plan that was shown cannot be read. Plan these matches again.")
        shown_then[pair[1]] = int(pair[2]) if pair[2] else None
    rows = selectors.matches(person.shop_id).filter(number__in=list(shown_then)).values_list("number", "pk")
    ids = {str(number): pk for number, pk in rows}
    only = [ids[text] for text in request.POST.getlist("only") if text in ids]
    if go == "chosen" and not only:
        raise Malformed("No pack of the plan is ticked. Go back and tick those to take.")
    return Take(
        only=only if go == "chosen" else None,
        accept_marginal="accept_marginal" in request.POST,
        counted="counted" in request.POST,
        shown={pk: shown_then[text] for text, pk in ids.items()},
    )


def _page(request: PageRequest, body: dict[str, Any], said: str) -> HttpResponse:
    ids = [row["match"] for row in body["plan"]]
    found = {str(match.pk): match for match in selectors.matches_with_stacks(request.user.shop_id).filter(pk__in=ids)}
    rows = [_row(found[row["match"]], row["option"], body) for row in body["plan"]]
    planned = [row for row in rows if row.one and not row.taken]
    context = {
        "plan": body,
        "open": _open(body),
        "rows": rows,
        "said": said,
        "sent": said == SENT,
        "moves": [(row.match.number, *got) for row in rows for got in row.gets],
        "to_take": planned,
        "marginal": any(row.one and not row.one.sure for row in planned),
        "count_first": any(raised(row.match.cautions, "count_first") and not row.match.counted for row in planned),
        "key": key_new(),
        "working": WORKING,
        "forbidden": forbidden(request.user, "matches"),
    }
    return shown(request, "plates/bench_plan.html", context)


def _open(body: dict[str, Any]) -> str:
    """How much better another plan might be: by the first figure that is not proven, since bounds after it mean little.
    """
    bound = body["bound"]
    if bound is None:
        return ""
    if bound["closed"] != body["closed"]:
        return f"At most {bound['closed']} of {len(body['plan'])} could close."
    if bound["sure"] != body["sure"]:
        return f"No plan closes more; at most {bound['sure']} of these could be sure."
    if bound["changes"] != body["changes"]:
        least = bound["changes"]
        return f"No plan closes more, nor more of them surely; fewer changes might do, but not fewer than {least}."
    return "No plan closes more, nor with fewer changes; they might only come nearer to their targets."


def _row(match: Match, planned: dict[str, Any] | None, body: dict[str, Any]) -> Row:
    number = planned and planned["number"]
    option = next((one for one in match.options if one["number"] == number), None)
    giving = {(row["match"], row["option"]["number"]) for row in body["plan"] if row["option"]}
    gets = [
        (row["thickness_nm"], row["out_of"]["number"])
        for row in (option["in"] if option else ())
        if row["out_of"] and (row["out_of"]["match"], row["out_of"]["option"]) in giving
    ]
    one = views.option_shown(match, option) if option else None
    return Row(match, views.verdict(match), one, str(match.pk) in body["taken"], gets)
