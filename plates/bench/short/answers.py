"""The form in which the API shows what the shelf could not answer."""

from typing import Any

from rest_framework import serializers

from plates.bench.answers import range_json
from plates.bench.models import Missed
from plates.bench.short.telephone import lines_of
from shop.api import linked


class MissedAnswer(serializers.ModelSerializer[Missed]):
    """One miss: the question asked last, what would have closed its pack, and the words to ask for it."""

    match, match_number = serializers.UUIDField(source="match_id"), serializers.IntegerField(source="match.number")
    job, spec = linked(allow_null=True), linked()
    would_close, say = serializers.SerializerMethodField(), serializers.SerializerMethodField()

    class Meta:
        model = Missed
        fields = ["id", "match", "match_number", "job", "spec", "day", "at", "would_close", "say"]

    def get_would_close(self, missed: Missed) -> list[dict[str, Any]]:
        return [range_json(row) for row in missed.ranges]

    def get_say(self, missed: Missed) -> list[str]:
        return lines_of(missed.ranges, missed.spec, self.context["request"].user.shop.unit_first)
