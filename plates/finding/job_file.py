"""The file of a job: every pack asked for it, what was read, what went in and came out, who did what and when."""

import uuid
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Count

from plates.bench.models import FinalCheck, Job, Match
from plates.bench.overrides import overrides_shown
from plates.bench.selectors import checks_told, matches
from plates.bench.slip.outs import FATES, outs_open
from plates.stock.ledger_models import Act, LedgerLine


@dataclass(frozen=True)
class Event:
    """What somebody did, in words, at which terminal; ``until`` of a hold."""

    at: datetime
    what: str
    person: str
    terminal: str | None
    until: datetime | None = None


@dataclass(frozen=True)
class Pack:
    """One match of the job. ``fate`` of an out is None where nobody has said yet what becomes of it."""

    match: Match
    events: list[Event]

    @property
    def outs(self) -> list[dict[str, Any]]:
        told = [{**one, "fate_words": FATES[one["fate"]]} for one in self.match.outs]
        return told + [{**row, "fate": None} for row in outs_open(self.match)]

    @property
    def cautions(self) -> list[str]:
        """Each once: a gauge read before and after the exchange is warned of twice."""
        return list(dict.fromkeys(one["text"] for one in self.match.cautions))

    @property
    def overrides(self) -> list[dict[str, Any]]:
        return overrides_shown(self.match)


def job_file(job: Job) -> list[Pack]:
    """The packs of the job in the order in which they were asked; as many queries for many as for one."""
    asked = list(
        matches(job.shop_id).filter(job=job).prefetch_related(checks_told(), "comebacks").order_by("number")
    )
    moved = _moved(job.shop_id, [match.pk for match in asked])
    return [Pack(match, sorted(_told(match) + moved[match.pk], key=lambda event: event.at)) for match in asked]


def _told(match: Match) -> list[Event]:
    """What the match itself says of its time."""
    checks = [
        _did(one, one.at, "measured after assembly" + ("" if one.in_window else ", out of the window"))
        for one in match.final_checks.all()
    ]
    return [_did(match, match.asked_at, "asked"), *checks]


def _did(row: Match | FinalCheck, at: datetime, what: str) -> Event:
    return Event(at, what, row.person.username, row.terminal.code if row.terminal else None)


#: In the words of the ledger, but for what is said of a reading at the bin only on the slip.
_SHOWN = (Act.HELD, Act.RELEASED, Act.RAN_OUT, Act.TAKEN, Act.PUT_BACK, Act.SCRAPPED)


def _moved(shop_id: uuid.UUID, ids: Iterable[uuid.UUID]) -> dict[uuid.UUID, list[Event]]:
    """What the ledger says of plates moved for these matches: those moved at once as one event."""
    events: dict[uuid.UUID, list[Event]] = {pk: [] for pk in ids}
    rows = (
        LedgerLine.objects.filter(shop_id=shop_id, match__in=events, act__in=_SHOWN)
        .order_by("at")
        .values("match_id", "at", "act", "person__username", "terminal__code", "held_until")
        .annotate(plates=Count("pk"))
    )
    for row in rows:
        plates = f"{row['plates']} plate{'s' if row['plates'] > 1 else ''}"
        nobody = row["act"] == Act.RAN_OUT
        person, terminal = ("", "") if nobody else (row["person__username"], row["terminal__code"])
        what = f"{plates} {_words(row['act'])}"
        events[row["match_id"]].append(Event(row["at"], what, person, terminal, row["held_until"]))
    return events


def _words(act: str) -> str:
    return {Act.RELEASED: "given back to the shelf", Act.RAN_OUT: "free again, the hold ran out"}.get(
        Act(act), Act(act).label
    )
