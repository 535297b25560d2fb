"""How the measuring room shows its rows over HTTP."""

from typing import Any

from rest_framework import serializers

from plates.lengths import half_even, length_json
from plates.measuring.models import Gauge, GaugeCheck, GaugeStudy
from plates.measuring.selectors import GaugeState
from plates.measuring.studies import Study
from plates.measuring.study_words import study_results, study_words
from shop.api import LengthField, linked


class GaugeAnswer(serializers.ModelSerializer[Gauge]):
    resolution, limit = LengthField(source="resolution_nm"), LengthField(source="limit_nm")
    #: Above zero when it reads high: length = shown - zero.
    zero = LengthField(source="zero_nm")
    state = serializers.ChoiceField(GaugeState.choices, source="state_now")
    due_at, checked_at, good_at = (serializers.DateTimeField(allow_null=True) for _ in range(3))
    error = LengthField(source="error_nm", allow_null=True)

    class Meta:
        model = Gauge
        fields = [
            "id", "code", "type", "resolution", "limit", "zero", "interval_days", "note", "state", "due_at",
            "checked_at", "good_at", "error", "withdrawn_at", "withdrawn_why",
        ]  # fmt: skip


class CheckAnswer(serializers.ModelSerializer[GaugeCheck]):
    gauge, person = linked(), linked("username")
    standard, error = LengthField(source="standard_nm"), LengthField(source="error_nm")
    zero_before, zero_after = LengthField(source="zero_before_nm"), LengthField(source="zero_after_nm")

    class Meta:
        model = GaugeCheck
        fields = [
            "id", "gauge", "at", "person", "standard", "readings", "error", "zero_before", "zero_after", "passed",
            "corrected_at",
        ]  # fmt: skip


def study_json(study: Study) -> dict[str, Any]:
    """Standard deviations as lengths, the gauge's share of the spread, and the result in plain words."""
    names = ("equipment", "appraiser", "gauge", "part", "total")
    figures = {name: length_json(half_even(getattr(study, name))) for name in names}
    return {**figures, "share": study.share, "categories": study.categories, "words": study_words(study)}


class StudyAnswer(serializers.ModelSerializer[GaugeStudy]):
    gauge, person = linked(), linked("username")
    results = serializers.SerializerMethodField()

    class Meta:
        model = GaugeStudy
        fields = ["id", "gauge", "at", "person", "people", "plates", "trials", "readings", "results"]

    def get_results(self, row: GaugeStudy) -> dict[str, Any]:
        return {name: study_json(study) for name, study in study_results(row).items()}
