"""Plates in the hand, over HTTP: read at the bin, and disposed of when they came out of a pack."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench.answers import MatchAnswer, match_json
from plates.bench.api import MatchAct
from plates.bench.locks import Run
from plates.bench.models import Match
from plates.bench.slip.bodies import OutsBody, PullBody, outs_of, pull_of
from plates.bench.slip.outs import match_outs
from plates.bench.slip.pull import PullMismatch, match_pull
from plates.bench.slip.pull_acts import Read
from shop.once import Answer


class HandledAnswer(MatchAnswer):
    """The match, with what to know of the plates that were handled."""

    warnings = serializers.ListField(child=serializers.DictField())

    def to_representation(self, instance: Match) -> dict[str, Any]:
        return handled_json(instance)


class PulledAnswer(HandledAnswer):
    """``laid``: the plate that a rematch put away, with its bin, or quarantined; else null."""

    laid = serializers.DictField(allow_null=True)


def handled_json(match: Match) -> dict[str, Any]:
    return {**match_json(match), "warnings": getattr(match, "warnings", [])}


def laid_json(read: Read | None) -> dict[str, Any] | None:
    if read is None:
        return None
    home = read.verdict.home
    return {"plate": str(read.plate.pk), "state": str(read.verdict.state), "bin": home.code if home else None}


class PullCheck(MatchAct):
    """A plate of the slip is read as it leaves its bin; the prediction is made afresh from what was read."""

    body_class = PullBody

    @extend_schema(request=PullBody, responses={200: PulledAnswer})
    def post(self, request: Request, pk: str) -> Response:
        try:
            return self.do(self.check)
        except PullMismatch as mismatch:
            mismatch.more["match"] = match_json(mismatch.match)
            raise

    def answer(self, match: Match) -> Answer:
        return Answer(self.answer_status, {**handled_json(match), "laid": laid_json(getattr(match, "laid", None))})

    def check(self, body: dict[str, Any], run: Run[Answer]) -> Answer:
        return match_pull(person=self.person, match_id=self.row_id(), pull=pull_of(body), run=run)


class Outs(MatchAct):
    """Plates that came out of the pack get their fates, all of them or none."""

    body_class = OutsBody

    @extend_schema(request=OutsBody, responses={200: HandledAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(self.dispose)

    def answer(self, match: Match) -> Answer:
        return Answer(self.answer_status, handled_json(match))

    def dispose(self, body: dict[str, Any], run: Run[Answer]) -> Answer:
        return match_outs(
            person=self.person, match_id=self.row_id(), outs=outs_of(body, self.shop_id), run=run
        )
