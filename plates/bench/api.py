"""The bench over HTTP: ask, take, hold, release, final check."""

from collections.abc import Callable
from typing import Any

from django_filters import rest_framework as filters
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench import selectors
from plates.bench.answers import MatchAnswer, match_json
from plates.bench.ask import match_ask
from plates.bench.bodies import FinalBody, MatchBody, OptionBody, overrides_of, question_of, reading_of
from plates.bench.final import match_final
from plates.bench.locks import Run
from plates.bench.models import Match, MatchState
from plates.bench.release import match_release
from plates.bench.take import StockMoved, match_hold, match_take
from plates.catalogue.selectors import spec_by_code, stack_fetch
from plates.catalogue.spec_models import Spec
from shop.api import Act, Collection, EmptyBody, One, Signed, found_by_id, id_named, unknown
from shop.once import Answer


class MatchFilter(filters.FilterSet):
    state = filters.ChoiceFilter("state_now", choices=MatchState.choices)
    job = filters.CharFilter("job__code")
    spec = filters.CharFilter("spec__code")


class MatchRows(Signed):
    """What the views of this room share."""

    serializer_class = MatchAnswer
    rows = staticmethod(selectors.matches)

    def answer(self: Any, match: Match) -> Answer:
        return Answer(self.answer_status, match_json(match))

    def do(self: Any, effect: Callable[[dict[str, Any], Run[Answer]], Answer]) -> Response:
        """Read the body, hand the service the way to carry it out once, render; show fresh options when stock moved."""
        if earlier := self.once.replay():
            return self.reply(earlier)
        body = self.body()
        try:
            return self.reply(effect(body, lambda act: self.once.run(act, self.answer)))
        except StockMoved as moved:
            moved.more = {"options": match_json(moved.match)["options"], "match": match_json(moved.match)}
            raise


class Matches(MatchRows, Collection):
    """The asked pack questions; POST asks which plates close a pack."""

    body_class, filterset_class, answer_status = MatchBody, MatchFilter, 201

    @extend_schema(request=MatchBody, responses={201: MatchAnswer})
    def post(self, request: Request) -> Response:
        return self.do(self.ask)

    def ask(self, body: dict[str, Any], run: Run[Answer]) -> Answer:
        spec = spec_by_code(self.shop_id, body["spec"])
        if spec is None:
            raise unknown(Spec, body["spec"], "/spec")
        stack_fetch(spec)
        return match_ask(
            person=self.person,
            spec=spec,
            question=question_of(body, spec),
            run=run,
            overrides=overrides_of(body),
            job=body.get("job") or "",
            counted=body["counted"],
            take=body["take"],
            accept_marginal=body["accept_marginal"],
            made_key=self.once.made_key,
        )


class OneMatch(MatchRows, One):
    """One match."""

    def get_object(self) -> Match:
        key = id_named(self.kwargs["pk"])
        return found_by_id(selectors.match_by_id(self.shop_id, key), key)


class MatchAct(MatchRows, Act):
    """An action on one match."""


class Take(MatchAct):
    """Take the plates of an option."""

    body_class = OptionBody

    @extend_schema(request=OptionBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(
            lambda body, run: match_take(person=self.person, match_id=self.row_id(), run=run, **body)
        )


class Hold(MatchAct):
    """Hold the plates of an option for a while."""

    body_class = OptionBody

    @extend_schema(request=OptionBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(
            lambda body, run: match_hold(person=self.person, match_id=self.row_id(), run=run, **body)
        )


class Release(MatchAct):
    """Free what a match holds."""

    body_class = EmptyBody

    @extend_schema(request=EmptyBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(lambda _, run: match_release(person=self.person, match_id=self.row_id(), run=run))


class Final(MatchAct):
    """The measurement after assembly."""

    body_class = FinalBody

    @extend_schema(request=FinalBody, responses={200: MatchAnswer})
    def post(self, request: Request, pk: str) -> Response:
        return self.do(self.check)

    def check(self, body: dict[str, Any], run: Run[Answer]) -> Answer:
        return match_final(person=self.person, match_id=self.row_id(), reading=reading_of(body), run=run)
