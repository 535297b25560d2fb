"""What the shop asked of its shelf in the last year, as packs to be closed again; and what is assumed of a pack spec
that was hardly asked.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from statistics import quantiles

from django.db.models.functions import Now
from django.utils import timezone

from plates.bench.cover.ask import with_book_sizes
from plates.bench.models import Match
from plates.bench.pose import Asked
from plates.bench.question import Question, with_book_uncertainty
from plates.buying.demand import YEAR_WEEKS
from plates.catalogue.selectors import STACK, specs
from plates.catalogue.spec_models import Spec
from plates.measuring.figures import figures_of
from shop.errors import Refusal
from shop.people.models import Shop

#: No more packs than these are closed again; of a busier year the last ones.
MOST_PACKS = 1_000
#: A pack spec that was asked less often in the year is filled up to this with assumed packs.
LEAST_ASKED = 4
#: Where the shop has not asked this often at all, readings are assumed evenly over a range, in widths of the window
#: from its middle: the packs that come in are rather too loose than too tight (our choice, no source).
ENOUGH_ASKED, ASSUMED_FROM, ASSUMED_TO = 20, -1.0, 2.0


@dataclass(frozen=True)
class Again:
    """One pack to be closed again, asked so many weeks ago; ``assumed``: nobody asked it."""

    asked: Asked
    weeks_ago: float
    assumed: bool = False


def asked_again(shop: Shop) -> list[Again]:
    """The first questions of the year about each pack (job, pack spec and day, as a miss is counted), oldest first.
    What lay on a bench for them counts for nothing now. Four queries.
    """
    now = timezone.now()
    found: dict[object, Again] = {}
    rows = (
        Match.objects.filter(shop_id=shop.pk, asked_at__gt=Now() - timedelta(weeks=YEAR_WEEKS), spec__adjustable=True)
        .select_related("spec")
        .prefetch_related(*(f"spec__{name}" for name in STACK))
        .only("question", "clearance_nm", "asked_at", "job_id", "shop_id", "spec")
    )
    for match in rows.order_by("-asked_at", "-id")[:MOST_PACKS]:
        question = replace(Question.from_json(match.question), bench={})
        asked = Asked(match.spec, question, match.clearance_nm)
        day = timezone.localtime(match.asked_at).date()
        key = (match.job_id, match.spec.code, day) if match.job_id else match.pk
        found.pop(key, None)
        if asked.open_slots:
            found[key] = Again(asked, (now - match.asked_at) / timedelta(weeks=1))
    return list(reversed(found.values()))


def assumed(shop: Shop, known: Sequence[Again]) -> list[Again]:
    """Packs at book sizes for the pack specs that were asked less than :data:`LEAST_ASKED` times, spread over the year;
    their readings lie as far from the middle of the window, in its widths, as those of the shop's packs do.
    """
    widths = [(one.asked.clearance_nm - _middle(one.asked.spec)) / _width(one.asked.spec) for one in known]
    often = Counter(one.asked.spec.code for one in known)
    found = []
    for spec in specs(shop.pk).filter(adjustable=True):
        missing = LEAST_ASKED - often[spec.code]
        if missing <= 0:
            continue
        try:
            question = Question("feeler", [], [], with_book_sizes(spec, {}), figures=figures_of(shop))
        except Refusal:
            continue  # a slot without a book size: nobody can tell what lies in it
        question = with_book_uncertainty(spec, list(spec.slots.all()), question)
        for number, far in enumerate(_spread(widths, missing)):
            reads_nm = _middle(spec) + round(far * _width(spec))
            asked = Asked(spec, question, reads_nm)
            if reads_nm > 0 and asked.open_slots:
                found.append(Again(asked, YEAR_WEEKS * (number + 0.5) / missing, True))
    return found


def _middle(spec: Spec) -> int:
    return (spec.low_nm + spec.high_nm) // 2


def _width(spec: Spec) -> int:
    return spec.high_nm - spec.low_nm


def _spread(widths: Sequence[float], count: int) -> list[float]:
    """``count`` distances from the middle of the window that stand for all of these."""
    if len(widths) >= ENOUGH_ASKED:
        return quantiles(widths, n=count + 1, method="inclusive") if count > 0 else []
    step = (ASSUMED_TO - ASSUMED_FROM) / (count + 1)
    return [ASSUMED_FROM + step * (number + 1) for number in range(count)]
