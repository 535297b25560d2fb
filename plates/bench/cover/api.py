"""The cover of a pack over HTTP."""

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from plates.bench.bodies import installed_of
from plates.bench.cover.answers import CoverAnswer, cover_json
from plates.bench.cover.ask import Cover, cover_ask
from plates.bench.cover.bodies import CoverBody
from plates.catalogue.selectors import specs
from shop.api import ShopView, by_code
from shop.once import Answer


class PackCover(ShopView):
    """From which readings today's shelf can close a pack, and with how few changes. It changes nothing: all may ask."""

    http_method_names = ["post", "options"]
    serializer_class, body_class, answer_status = CoverAnswer, CoverBody, 200
    rows = staticmethod(specs)

    @extend_schema(request=CoverBody, responses={200: CoverAnswer})
    def post(self, request: Request) -> Response:
        if earlier := self.once.replay():
            return self.reply(earlier)
        found = self.ask(self.body())  # worked out before the key is locked
        return self.reply(self.once.run(lambda: found, lambda made: Answer(self.answer_status, cover_json(made))))

    def ask(self, body: dict[str, Any]) -> Cover:
        spec = by_code(self.get_queryset(), body["spec"], "/spec")
        return cover_ask(
            person=self.person,
            spec=spec,
            installed=installed_of(body["installed"], spec),
            from_nm=body["from"],
            to_nm=body["to"],
            without=body["without"],
            sizes=body["sizes"],
        )
