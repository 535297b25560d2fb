"""The bench plan over HTTP."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench import selectors
from plates.bench.plan.answers import PlanAnswer, plan_json
from plates.bench.plan.bodies import PlanBody, matches_of, take_of
from plates.bench.plan.plan import PlanMoved, Planned, bench_plan
from shop.api import ShopView
from shop.errors import Malformed
from shop.once import Answer


class BenchPlan(ShopView):
    """Which options close most of several packs, taken together where that is wanted."""

    http_method_names = ["post", "options"]
    body_class, serializer_class, answer_status = PlanBody, PlanAnswer, 200
    rows = staticmethod(selectors.matches)

    @extend_schema(request=PlanBody, responses={200: PlanAnswer})
    def post(self, request: Request) -> Response:
        if earlier := self.once.replay():
            return self.reply(earlier)
        body = self.body()
        try:
            match_ids = matches_of(body, self.person)
        except Malformed:
            if earlier := self.once.replay():  # its twin has just taken them
                return self.reply(earlier)
            raise
        try:
            return self.reply(
                bench_plan(
                    person=self.person,
                    match_ids=match_ids,
                    take=take_of(body),
                    run=lambda effect: self.once.run(effect, self.answer),
                )
            )
        except PlanMoved as moved:
            moved.more["plan"] = plan_json(moved.planned)
            raise

    def answer(self, planned: Planned) -> Answer:
        return Answer(self.answer_status, plan_json(planned))
