"""Jobs and matches: what was asked, what was offered, what was taken, how it came out."""

from typing import Any

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Now

from plates.catalogue.spec_models import Spec
from shop.errors import CodeTaken, constraint
from shop.links import Link
from shop.once import spent
from shop.people.models import Person, Terminal
from shop.rows import SameShop, ShopRow


class Job(ShopRow):
    """One unit on one bench. ``code`` is what stands on its ticket."""

    number = models.BigIntegerField()
    code = models.TextField()
    opened_at = models.DateTimeField(db_default=Now())

    class Meta(ShopRow.Meta):
        ordering = ["number"]
        constraints = [
            *ShopRow.Meta.constraints,
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("job_code", CodeTaken, "A job with this code is there already."),
            ),
            models.UniqueConstraint(fields=["shop", "number"], name="job_number"),
        ]

    def __str__(self) -> str:
        return self.code


class MatchState(models.TextChoices):
    OPEN = "open", "open"
    HELD = "held", "held"
    TAKEN = "taken", "taken"
    CLOSED = "closed", "closed"


class Match(ShopRow):
    """One asked pack question with its options.

    ``question`` is the request in nanometres, enough to search again; ``options`` the offered exchanges, each under a
    number that is never used again; ``slip`` what was taken. Window figures are copied; the rest stands
    in the revision of the spec by which it was asked.
    """

    number = models.BigIntegerField()
    state = models.TextField(choices=MatchState.choices, default=MatchState.OPEN)
    job = Link(
        Job, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="matches"
    )
    spec = Link(
        Spec, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="matches"
    )
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    terminal = Link(
        Terminal, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    asked_at = models.DateTimeField(db_default=Now())
    method = models.TextField()
    readings = models.JSONField()
    as_read_nm = models.BigIntegerField()
    clearance_nm = models.BigIntegerField()
    u_nm = models.FloatField()
    low_nm = models.BigIntegerField()
    high_nm = models.BigIntegerField()
    target_nm = models.BigIntegerField()
    source = models.TextField()
    reference = models.TextField(blank=True, default="")
    #: The unit that governs the window.
    unit = models.TextField(default="in")
    #: Lined faces of the whole stack when it was asked.
    faces = models.PositiveIntegerField()
    verdict = models.TextField(choices=[("in_window", "in the window"), ("high", "high"), ("low", "low")])
    question = models.JSONField()
    options = models.JSONField(default=list)
    next_option = models.PositiveIntegerField(default=1)
    shortfall = models.JSONField(null=True)
    #: What is on hand and in no option, and why, as :func:`plates.bench.why_not.why_not` groups it.
    kept_away = models.JSONField(default=list)
    cautions = models.JSONField(default=list)
    counted = models.BooleanField(default=False)
    option_taken = models.PositiveIntegerField(null=True)
    held_until = models.DateTimeField(null=True)
    taken_at = models.DateTimeField(null=True)
    taken_by = Link(
        Person, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    taken_terminal = Link(
        Terminal, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    slip = models.JSONField(default=list)
    outs = models.JSONField(default=list)
    #: The option that was built, with the plates that really left their bins; ``slip`` is its plates.
    built = models.JSONField(null=True)
    #: Bands beyond the window: allowed, not to build to.
    limit_low_nm = models.BigIntegerField(null=True)
    limit_high_nm = models.BigIntegerField(null=True)
    #: The closed match that came back as this one, and how much of the change its wear accounts for.
    comeback_of = Link(
        "self", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="comebacks"
    )
    comeback = models.JSONField(null=True)
    #: Rules of the spec that the owner lifted for this pack: rule, reason, by, at.
    overrides = models.JSONField(default=list)
    residual_nm = models.BigIntegerField(null=True)
    closed_at = models.DateTimeField(null=True)
    made_key = models.TextField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["number"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="job", name="match_job"),
            SameShop(field="spec", name="match_spec"),
            SameShop(field="person", name="match_person"),
            SameShop(field="terminal", name="match_terminal"),
            SameShop(field="taken_by", name="match_taken_by"),
            SameShop(field="taken_terminal", name="match_taken_terminal"),
            SameShop(field="comeback_of", name="match_comeback_of"),
            models.UniqueConstraint(fields=["shop", "number"], name="match_number"),
            models.UniqueConstraint(fields=["shop", "made_key"], name=spent("match_made_key", "match")),
            models.CheckConstraint(
                condition=Q(low_nm__lt=F("high_nm"), target_nm__gte=F("low_nm"), target_nm__lte=F("high_nm")),
                name="match_window",
            ),
            models.CheckConstraint(
                condition=Q(state="held", held_until__isnull=False) | (~Q(state="held") & Q(held_until=None)),
                name="match_held_until",
            ),
        ]
        indexes = [
            models.Index(fields=["shop", "state"], name="match_of_state"),
            models.Index(fields=["shop", "spec"], name="match_of_spec"),
            models.Index(fields=["shop", "job"], condition=Q(job__isnull=False), name="match_of_job"),
            # Those of which something lies on a bench, waiting for a pack.
            models.Index(
                fields=["shop"], condition=Q(outs__contains=[{"fate": "pack", "used_by": None}]), name="match_lying"
            ),
        ]

    @property
    def standing(self) -> list[dict[str, Any]]:
        """The options that are offered; those of an earlier look at the shelf are past."""
        return [option for option in self.options if not option.get("past")]

    @property
    def option_held(self) -> int | None:
        """The number of the option whose plates it holds."""
        return self.option_taken if self.state == MatchState.HELD else None

    @property
    def built_now(self) -> dict[str, Any] | None:
        """What the stack was built to, while that is the last word on it."""
        return self.built if self.state in (MatchState.TAKEN, MatchState.CLOSED) else None

    def __str__(self) -> str:
        return str(self.number)


class Missed(ShopRow):
    """One question that the shelf could not answer, for the buyer: asked again for the same job on the same day it is
    still one. ``ranges`` is what would have closed the pack, as the shortfall of ``match`` has it; ``day`` is the day
    on the wall of the shop.
    """

    match = Link(
        Match, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="missed"
    )
    job = Link(
        Job, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="missed"
    )
    spec = Link(Spec, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    day = models.DateField()
    at = models.DateTimeField(db_default=Now())
    ranges = models.JSONField(default=list)

    class Meta(ShopRow.Meta):
        ordering = ["at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="match", name="missed_match"),
            SameShop(field="job", name="missed_job"),
            SameShop(field="spec", name="missed_spec"),
            models.UniqueConstraint(fields=["shop", "match"], name="missed_once"),
            models.UniqueConstraint(
                fields=["shop", "job", "spec", "day"], condition=Q(job__isnull=False), name="missed_of_job"
            ),
        ]
        indexes = [models.Index(fields=["shop", "at"], name="missed_in_time")]


#: In place of a method: the prediction of this pack came from the room of the empty drum.
ROOM = "room"


class FinalCheck(ShopRow):
    """One measurement after assembly. ``residual_nm`` = final - predicted; ``u_nm`` is the prediction's,
    ``u_reading_nm`` the final reading's, ``u_moves_nm`` the part of the prediction that its plates make.
    """

    match = Link(
        Match, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="final_checks"
    )
    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    terminal = Link(
        Terminal, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    at = models.DateTimeField(db_default=Now())
    method = models.TextField()
    #: The method by which the pack was read before; ``ROOM`` where its drum was empty.
    asked_method = models.TextField()
    gauge = models.TextField(blank=True, default="")
    soaked = models.BooleanField(default=False)
    #: As typed.
    readings = models.JSONField()
    as_read_nm = models.BigIntegerField()
    clearance_nm = models.BigIntegerField()
    predicted_nm = models.BigIntegerField()
    u_nm = models.FloatField()
    u_reading_nm = models.FloatField()
    u_moves_nm = models.FloatField()
    residual_nm = models.BigIntegerField()
    in_window = models.BooleanField()

    class Meta(ShopRow.Meta):
        ordering = ["at", "id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="match", name="finalcheck_match"),
            SameShop(field="person", name="finalcheck_person"),
            SameShop(field="terminal", name="finalcheck_terminal"),
            models.CheckConstraint(
                condition=Q(residual_nm=F("clearance_nm") - F("predicted_nm")), name="finalcheck_residual"
            ),
        ]
        indexes = [
            models.Index(fields=["shop", "match"], name="finalcheck_of_match"),
            models.Index(fields=["shop", "at"], name="finalcheck_in_time"),
        ]
