"""Rules of a spec that the owner lifts for one pack: signed, with a reason, and told wherever the pack is told of."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from plates.bench.models import Match
from plates.bench.question import Question
from plates.catalogue.spec_models import LIFTABLE, Spec
from shop.errors import Malformed, Refusal
from shop.people.models import Person

#: What nobody lifts for any pack.
NEVER = {
    "wave": "A wave plate is never left out nor exchanged to set a clearance: nobody lifts that, for no pack.",
    "frictions": "The number of frictions never changes: nobody lifts that, for no pack.",
}


class NotLiftable(Refusal):
    code, title = "not_liftable", "Nobody may lift this rule here"


@dataclass(frozen=True)
class Override:
    """One rule of :data:`~plates.catalogue.spec_models.LIFTABLE` lifted for one pack, and why."""

    rule: str
    reason: str


def overrides_check(*, person: Person, spec: Spec, question: Question, overrides: Sequence[Override]) -> None:
    """Raises NotLiftable for a rule that this spec, or anybody, never lifts, Forbidden for all but the owner, Malformed
    where they contradict themselves. What cannot be lifted is told first: then nobody asks the owner in vain.
    """
    for row, one in enumerate(overrides):
        at = f"/overrides/{row}/rule"
        if one.rule in NEVER:
            raise NotLiftable(NEVER[one.rule], [(at, "is never lifted")])
        if one.rule not in spec.liftable:
            does = ", ".join(f"{rule} ({LIFTABLE[rule]})" for rule in spec.liftable) or "nothing"
            raise NotLiftable(
                f"Pack spec {spec.code} does not let anybody lift {one.rule} ({LIFTABLE[one.rule]}). What the owner "
                f"may lift there: {does}. Keep to the rule.",
                [(at, "the spec does not mark it as liftable")],
            )
        if one.rule in [other.rule for other in overrides[:row]]:
            raise Malformed(f"{one.rule} is lifted twice. Give one reason.", [(at, "stands twice")])
        if one.rule == "set_only" and question.set_only:
            raise Malformed(
                "The question says that this pack stays together, and lifts just that. Say one of the two.",
                [("/set_only", "goes against the override of set_only")],
            )
    if overrides:
        person.require("overrides")


def overrides_signed(person: Person, overrides: Sequence[Override], at: datetime) -> list[dict[str, str]]:
    """The overrides as they are kept with the match."""
    signed = {"by": person.username, "at": at.isoformat()}
    return [{"rule": one.rule, "reason": one.reason, **signed} for one in overrides]


def overrides_shown(match: Match) -> list[dict[str, Any]]:
    """The overrides of a match, each with its rule in words and its time to be formatted."""
    return [{**one, "what": LIFTABLE[one["rule"]], "at": datetime.fromisoformat(one["at"])} for one in match.overrides]


def lifted_words(match: Match) -> str:
    """What the ledger says of plates that leave under overrides; blank without any."""
    return "; ".join(f"{one['rule']} lifted by {one['by']}: {one['reason']}" for one in match.overrides)
