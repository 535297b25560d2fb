"""A pack spec at the counter: a new one, and a revision of one that stands. Both are typed in the same form."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpResponse
from django.shortcuts import resolve_url
from django.views.decorators.http import require_http_methods

from plates.catalogue import selectors, specs
from plates.catalogue.forms import FIRST_ROWS, MOST_ROWS, SlotForm, SpecForm
from plates.catalogue.hydraulics_form import HydraulicsForm
from plates.catalogue.revise_form import ReviseForm, hydraulics_typed, slot_typed, spec_typed
from plates.catalogue.spec_models import Spec
from shop.errors import Malformed, Refusal
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown


def spec_coded(request: PageRequest, code: str) -> Spec:
    """The pack spec of this code as it stands; answers 404 where there is none."""
    spec = selectors.spec_by_code(request.user.shop_id, code)
    if spec is None:
        raise Http404(f"No pack spec has the code {code!r}.")
    selectors.stack_fetch(spec)
    return spec


@dataclass(frozen=True)
class SpecTyped:
    """All that is typed of a pack spec: itself, its slots a row each, its hydraulics."""

    form: SpecForm
    rows: list[SlotForm]
    hydraulics: HydraulicsForm

    @property
    def filled(self) -> list[SlotForm]:
        """Blank rows are left out."""
        return [row for row in self.rows if not row.blank]

    def good(self) -> bool:
        """Whether each field can be read; what cannot is said beside it."""
        if not self.filled:
            self.form.add_error(None, "A pack has at least one slot.")
        return all([self.form.is_valid(), self.hydraulics.is_valid(), *(row.is_valid() for row in self.filled)])

    def figures(self) -> specs.Figures:
        """As the services take them. Raises BadFigures, WindowRefused."""
        form, slots = self.form, [row.slot() for row in self.filled]
        said = form.cleaned_data
        return specs.Figures(
            title=said["title"],
            measures=said["measures"],
            window=form.window(slots),
            slots=slots,
            wave_nm=form.wave_nm,
            reads=form.reads(),
            limits=form.limits(),
            limit_low_nm=form.length("limit_low"),
            limit_high_nm=form.length("limit_high"),
            hydraulics=self.hydraulics.hydraulics(),
            adjustable=not said["fixed"],
            set_only=said["set_only"],
        )


def _read(request: PageRequest, form_class: type[SpecForm], standing: Spec | None = None) -> SpecTyped:
    """What was posted; fresh, what stands. *One more row* is no attempt to save: it keeps what is typed, unjudged."""
    person, post = request.user, request.POST
    more = "more" in post
    posted = post if request.method == "POST" and not more else None
    slots = list(standing.slots.all()) if standing and not post else []
    asked = post.get("rows", "")
    fresh = len(slots) + 1 if slots else FIRST_ROWS
    count = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 4 else fresh
    count = min(count + more, MOST_ROWS)
    whole: Mapping[str, Any] | None = {**post.dict(), "liftable": post.getlist("liftable")} if more else None
    rows = [_typed(request, f"slot{row}") for row in range(count)]
    hydraulics = _typed(request, HydraulicsForm.prefix)
    if standing and not post:
        whole, hydraulics = spec_typed(standing), hydraulics_typed(standing)
        rows[: len(slots)] = [slot_typed(slot) for slot in slots]
    fit_rows = list(selectors.fits(person.shop_id))
    return SpecTyped(
        form_class(posted, person=person, initial=whole),
        [
            SlotForm(posted, person=person, fit_rows=fit_rows, prefix=f"slot{row}", initial=said)
            for row, said in enumerate(rows)
        ],
        HydraulicsForm(posted, person=person, initial=hydraulics),
    )


def _typed(request: PageRequest, prefix: str) -> dict[str, Any]:
    """What stands in the fields with this prefix: in one row of slots, say."""
    head = f"{prefix}-"
    return {name.removeprefix(head): value for name, value in request.POST.items() if name.startswith(head)}


def _saved(request: PageRequest, typed: SpecTyped, save: Callable[[Once], Spec]) -> HttpResponse | None:
    """On to the pack spec, saved; None where nothing is to be saved, or the form says why it cannot be."""
    if request.method != "POST" or "more" in request.POST or not typed.good():
        return None

    def to(spec: Spec) -> Answer:
        return Answer(303, {"to": resolve_url("spec", spec.code)})

    try:
        return act(request, lambda once: once.run(lambda: save(once), to))
    except Refusal as refusal:
        typed.form.add_error(None, refusal.detail)
        return None


@require_http_methods(["GET", "POST"])
@page
def add_spec(request: PageRequest) -> HttpResponse:
    typed = _read(request, SpecForm)

    def make(once: Once) -> Spec:
        return specs.spec_make(person=once.person, code=typed.form.cleaned_data["code"], **typed.figures())

    return _saved(request, typed, make) or _shown(request, typed)


@require_http_methods(["GET", "POST"])
@page
def revise(request: PageRequest, code: str) -> HttpResponse:
    """The current revision, to be put right: saved, it is one more."""
    spec = spec_coded(request, code)
    typed = _read(request, ReviseForm, spec)
    # That which the form was opened on, whatever stands by now.
    revision = _revision(request) if request.method == "POST" else spec.revision

    def again(once: Once) -> Spec:
        reason = typed.form.cleaned_data["reason"]
        return specs.spec_revise(person=once.person, code=code, revision=revision, reason=reason, **typed.figures())

    return _saved(request, typed, again) or _shown(request, typed, spec=spec, revision=revision)


def _revision(request: PageRequest) -> int:
    text = request.POST.get("revision", "")
    if not (text.isascii() and text.isdigit() and len(text) < 5):
        raise Malformed("This form came without the revision that it is of. Go back, load the page again and repeat.")
    return int(text)


def _shown(request: PageRequest, typed: SpecTyped, **more: object) -> HttpResponse:
    context = {
        "form": typed.form,
        "rows": typed.rows,
        "hydraulics": typed.hydraulics,
        "key": key_new(),
        "forbidden": forbidden(request.user, "catalogue"),
        **more,
    }
    return shown(request, "plates/add_spec.html", context)
