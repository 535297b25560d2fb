"""The stack of a pack spec that is still being typed: drawn from what can be read of it so far."""

from collections.abc import Sequence

from django.http import HttpResponse
from django.views.decorators.http import require_POST

from plates.bench.drawing import Limits
from plates.bench.shown import stack_of_book
from plates.catalogue.forms import MOST_ROWS, SlotForm, SpecForm
from plates.catalogue.models import Fit
from plates.catalogue.selectors import fits
from plates.catalogue.specs import SlotData, faces_of
from plates.catalogue.windows import window_rule
from plates.lengths import mean_nm
from shop.errors import Refusal
from shop.web import PageRequest, page


@require_POST
@page
def drawing(request: PageRequest) -> HttpResponse:
    """A fragment: the drawing, or what it waits for. Nothing is judged and nothing is written."""
    person = request.user
    fit_rows = list(fits(person.shop_id))
    rows = (SlotForm(request.POST, person=person, fit_rows=fit_rows, prefix=f"slot{row}") for row in range(MOST_ROWS))
    slots = [slot for place, row in enumerate(rows, start=1) if (slot := _slot(row, place))]
    if not slots:
        return HttpResponse("A slot with its count draws the stack.")
    form = SpecForm(request.POST, person=person)
    form.is_valid()
    picture = stack_of_book(
        slots,
        measures=form.cleaned_data.get("measures", "gap"),
        limits=_limits(form, slots),
        unit=person.shop.unit_first,
        name=form.cleaned_data.get("code") or "this pack",
    )
    return HttpResponse(picture)


def _slot(row: SlotForm, place: int) -> SlotData | None:
    """What is known of one slot; None until it says how many plates of which role."""
    if row.blank:
        return None
    row.is_valid()
    said = row.cleaned_data
    if not said.get("role") or not said.get("count"):
        return None
    faces = (said.get("lined_faces") or 2) if said["role"] == "friction" else 0
    fit = row.by_code.get(said.get("fit", ""), Fit())
    # By its place, since two slots may have the same name until somebody saves.
    return SlotData(str(place), said["role"], fit, said["count"], faces, nominal_nm=row.length("nominal"))


def _limits(form: SpecForm, slots: Sequence[SlotData]) -> Limits | None:
    """The window as far as it is typed; None until both limits stand there."""
    said = form.cleaned_data
    if said.get("source") == "rule":
        try:
            window = window_rule(
                faces=faces_of(slots), measures=said.get("measures", "gap"), target_nm=form.length("target")
            )
        except Refusal:
            return None
        return Limits(window.low_nm, window.high_nm, window.target_nm)
    low_nm, high_nm, target_nm = form.length("low"), form.length("high"), form.length("target")
    if low_nm is None or high_nm is None or low_nm >= high_nm:
        return None
    inside = target_nm is not None and low_nm <= target_nm <= high_nm
    return Limits(low_nm, high_nm, target_nm if inside and target_nm else mean_nm([low_nm, high_nm]))
