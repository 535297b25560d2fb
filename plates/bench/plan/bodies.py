"""What the bench plan reads over HTTP."""

import uuid
from typing import Any

from django.db.models import Q
from rest_framework import serializers

from plates.bench import selectors
from plates.bench.models import MatchState
from plates.bench.plan.plan import Take
from shop.api import Body, by_code
from shop.errors import Malformed
from shop.people.models import Person

MOST = 40


def _ids(**more: Any) -> serializers.ListField:
    return serializers.ListField(child=serializers.UUIDField(), min_length=1, max_length=MOST, **more)


class PlanBody(Body):
    """Which matches: those named, or all of a job that are open. ``only``: the part to take."""

    matches = _ids(required=False)
    job = serializers.CharField(max_length=60, required=False)
    take = serializers.BooleanField(default=False)
    only = _ids(required=False)
    accept_marginal = serializers.BooleanField(default=False)
    counted = serializers.BooleanField(default=False)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        if ("matches" in attrs) == ("job" in attrs):
            raise serializers.ValidationError({"matches": ["give either matches or job"]})
        if "only" in attrs and not attrs["take"]:
            raise serializers.ValidationError({"only": ["goes with take"]})
        if len(set(attrs.get("matches", []))) < len(attrs.get("matches", [])):
            raise serializers.ValidationError({"matches": ["name each match once"]})
        return attrs


def matches_of(body: dict[str, Any], person: Person) -> list[uuid.UUID]:
    """The matches to plan. Raises Forbidden before anything is looked up, Malformed for a job that is not there or has
    none open, or more than can be planned.
    """
    person.require("matches")
    if "matches" in body:
        return list(body["matches"])
    job = by_code(selectors.jobs(person.shop_id), body["job"], "/job")
    found = selectors.matches(person.shop_id).filter(Q(("state_now__in", [MatchState.OPEN, MatchState.HELD])), job=job)
    ids = list(found.order_by("number").values_list("pk", flat=True)[: MOST + 1])
    if not 1 <= len(ids) <= MOST:
        how_many = f"more than {MOST} matches are" if ids else "no match is"
        raise Malformed(f"Of job {job.code} {how_many} open. Name the matches instead.", [("/job", "name the matches")])
    return ids


def take_of(body: dict[str, Any]) -> Take | None:
    if not body["take"]:
        return None
    return Take(body.get("only"), body["accept_marginal"], body["counted"])
