"""How the API shows a bench plan."""

from typing import Any

from rest_framework import serializers

from plates.bench.answers import option_json
from plates.bench.plan.plan import Planned
from plates.lengths import length_json
from plates.matching.plan.plan import Totals


def totals_json(totals: Totals) -> dict[str, Any]:
    """``distance``: the sum of the distances to the targets."""
    return {
        "closed": totals.closed,
        "sure": totals.sure,
        "changes": totals.changes,
        "distance": length_json(totals.distance_nm),
    }


def plan_json(planned: Planned) -> dict[str, Any]:
    """``bound``: better than that no plan can be, where it is not known to be the best; ``one_by_one``: how many close
    when each is answered by itself; ``taken``: the matches whose plates were taken.
    """
    return {
        **totals_json(planned.totals),
        "optimal": planned.optimal,
        "bound": None if planned.optimal else totals_json(planned.bound),
        "one_by_one": planned.one_by_one,
        "plan": [
            {
                "match": str(match.pk),
                "number": match.number,
                "state": match.state,
                "option": option and option_json(option, match),
            }
            for match, option in zip(planned.matches, planned.options, strict=True)
        ],
        "taken": [str(match.pk) for match in planned.taken],
    }


class PlanAnswer(serializers.Serializer[Any]):
    """Answers with :func:`plan_json`; the fields describe that shape to the schema."""

    closed, sure, changes = (serializers.IntegerField() for _ in range(3))
    distance = serializers.DictField()
    optimal = serializers.BooleanField()
    bound = serializers.DictField(allow_null=True)
    one_by_one = serializers.IntegerField()
    plan = serializers.ListField(child=serializers.DictField())
    taken = serializers.ListField(child=serializers.UUIDField())
