"""What there is to be labelled, by sort."""

import uuid
from collections import defaultdict
from collections.abc import Sequence

from django.db.models import Q
from django.utils import timezone

from plates.bench.models import Job, Match
from plates.bench.selectors import jobs
from plates.catalogue.models import Fit, Kind
from plates.catalogue.selectors import kinds
from plates.labels.contents import Content, bin_content, job_content, kind_content
from plates.stock.models import Bin
from plates.stock.selectors import bins
from shop.people.models import Person

#: So many things are listed, and so many labels printed at once.
MOST = 200


Thing = Bin | Kind | Job


def things(shop_id: uuid.UUID, sort: str, *, fit: Fit | None = None, role: str = "", find: str = "") -> list[Thing]:
    """Up to one more than :data:`MOST` bins, kinds or jobs, by code; jobs the latest first.

    ``find`` is a part of the code; fit and role say nothing of jobs.
    """
    if sort == "job":
        return list(jobs(shop_id).filter(code__icontains=find).order_by("-number")[: MOST + 1])
    wanted = Q(code__icontains=find)
    if fit:
        wanted &= Q(fit=fit)
    if role:
        wanted &= Q(role=role)
    if sort == "bin":
        return list(bins(shop_id).filter(wanted).order_by("code")[: MOST + 1])
    return list(kinds(shop_id).filter(wanted).order_by("code")[: MOST + 1])


def contents(person: Person, found: Sequence[Thing]) -> list[Content]:
    """What stands on the labels of these, in their order."""
    unit, packs = person.shop.unit_first, defaultdict(list)
    asked = Match.objects.filter(shop_id=person.shop_id, job__in=[one for one in found if isinstance(one, Job)])
    for job, spec in asked.order_by("spec__code").values_list("job", "spec__code").distinct():
        packs[job].append(spec)
    return [_content(one, unit, packs[one.pk]) for one in found]


def _content(one: Thing, unit: str, packs: Sequence[str]) -> Content:
    if isinstance(one, Job):
        return job_content(one, packs, timezone.localtime(one.opened_at).date().isoformat())
    return bin_content(one, unit) if isinstance(one, Bin) else kind_content(one, unit)
