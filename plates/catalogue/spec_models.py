"""Pack specs with their slots: what a pack wants."""

import uuid

from django.db import models
from django.db.models import F, Q

from plates.catalogue.models import BadFigures, Fit, Role
from shop.errors import CodeTaken, Refusal, constraint
from shop.links import Link
from shop.people.models import Person
from shop.rows import SameShop, ShopRow

#: What a spec may mark as liftable: by the owner, signed and with a reason. Nothing lifts the wave plate nor the number
#: of frictions.
LIFTABLE = {
    "spread": "how much its plates may differ",
    "splines": "how high its plates may stand",
    "thinnest": "the thinnest plate of a slot",
    "thickest": "the thickest plate of a slot",
    "reuse_minimum": "the reuse minimum of an old plate",
    "cone": "the cone limit of an old plate",
    "set_only": "replaced as a set only",
}

MEASURES = [("gap", "clearance"), ("height", "stack height")]
WAVE_STATES = [("free", "free"), ("flat", "flat")]
SOAKS = [("dry", "dry"), ("soaked", "soaked")]


class WindowRefused(Refusal):
    code, title = "bad_window", "This window cannot be built to"


class RevisedSince(Refusal):
    status, code, title = 409, "revised_since", "Somebody revised it meanwhile"


class Spec(ShopRow):
    """A pack spec: a stack with its slots and window. Window and target stand here as they are built to.

    A row never changes, so that what was built by it stays explained: a revision is a row of its own under the same
    code, and the one that it replaces points to it. The one that nothing replaces is current.
    """

    code = models.TextField()
    revision = models.PositiveSmallIntegerField(default=1)
    replaced_by = Link(
        "self", on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    #: Of a revision: by whom, when and why it replaced the one before it.
    revised_by = Link(
        Person, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    revised_at = models.DateTimeField(null=True)
    reason = models.TextField(blank=True, default="")
    title = models.TextField()
    measures = models.TextField(choices=MEASURES)
    source = models.TextField(choices=[("rule", "rule of the trade"), ("manual", "manual")])
    low_nm = models.BigIntegerField()
    high_nm = models.BigIntegerField()
    target_nm = models.BigIntegerField()
    limit_low_nm = models.BigIntegerField(null=True)
    limit_high_nm = models.BigIntegerField(null=True)
    reference = models.TextField(blank=True, default="")
    #: The unit that governs a manual's window, for the eye: both are always shown.
    unit = models.TextField(choices=[("in", "inch"), ("mm", "millimetre")], default="in")
    wave_free_nm = models.BigIntegerField(null=True)
    wave_flat_nm = models.BigIntegerField(null=True)
    #: The convention that the window was written for; blank where the manual does not say.
    reads_wave = models.TextField(choices=WAVE_STATES, blank=True, default="")
    reads_method = models.TextField(blank=True, default="")
    reads_soak = models.TextField(choices=SOAKS, blank=True, default="")
    reads_load = models.TextField(blank=True, default="")
    #: What the estimates need of the unit's hydraulics, in SI units and nm; None where nothing is known.
    hydraulics = models.JSONField(null=True)
    adjustable = models.BooleanField(default=True)
    set_only = models.BooleanField(default=False)
    #: How much the steels of one pack may differ in thickness; how high all plates but the snap rings may stand, so
    #: that the last one stays on its splines. None: no limit.
    spread_nm = models.BigIntegerField(null=True)
    splines_nm = models.BigIntegerField(null=True)
    #: Rules of :data:`LIFTABLE`.
    liftable = models.JSONField(default=list)

    class Meta(ShopRow.Meta):
        ordering = ["code", "revision"]
        verbose_name = "pack spec"
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="replaced_by", name="spec_replaced_by", at_commit=True),
            SameShop(field="revised_by", name="spec_revised_by"),
            models.UniqueConstraint(
                fields=["shop", "code"],
                condition=Q(replaced_by=None),
                name=constraint("spec_code", CodeTaken, "A pack spec with this code is there already."),
            ),
            models.UniqueConstraint(
                fields=["shop", "code", "revision"],
                name=constraint(
                    "spec_revision", RevisedSince, "This pack spec was revised meanwhile. Look at it as it stands now."
                ),
            ),
            models.CheckConstraint(
                condition=Q(revision=1, revised_by=None, revised_at=None, reason="")
                | (Q(revision__gt=1, revised_by__isnull=False, revised_at__isnull=False) & ~Q(reason="")),
                name=constraint("spec_revised", BadFigures, "A revision says who made it, when and why."),
            ),
            models.CheckConstraint(
                condition=Q(low_nm__gte=0, low_nm__lt=F("high_nm")),
                name=constraint("spec_window", WindowRefused, "The low limit of a window lies below the high one."),
            ),
            models.CheckConstraint(
                condition=Q(target_nm__gte=F("low_nm"), target_nm__lte=F("high_nm")),
                name=constraint("spec_target", WindowRefused, "The target lies in the window."),
            ),
            models.CheckConstraint(
                condition=(Q(limit_low_nm=None) | Q(limit_low_nm__lte=F("low_nm")))
                & (Q(limit_high_nm=None) | Q(limit_high_nm__gte=F("high_nm"))),
                name=constraint("spec_limits", WindowRefused, "The outer limits lie outside the window."),
            ),
            models.CheckConstraint(
                condition=~Q(source="rule", measures="height"),
                name=constraint(
                    "spec_rule_gap", WindowRefused, "The rule of the trade is for clearance, not for stack height."
                ),
            ),
            models.CheckConstraint(
                condition=Q(source="rule") | ~Q(reference=""),
                name=constraint("spec_reference", WindowRefused, "A manual's window names its document and page."),
            ),
            models.CheckConstraint(
                condition=Q(wave_free_nm=None, wave_flat_nm=None)
                | Q(wave_flat_nm__gt=0, wave_free_nm__gt=F("wave_flat_nm")),
                name=constraint("spec_wave", BadFigures, "A wave plate's free height is above its flat thickness."),
            ),
            models.CheckConstraint(
                condition=(Q(spread_nm=None) | Q(spread_nm__gte=0)) & (Q(splines_nm=None) | Q(splines_nm__gt=0)),
                name=constraint("spec_stack_limits", BadFigures, "Limits of a stack are not below zero."),
            ),
        ]

    @property
    def named(self) -> str:
        """Its code, with the revision where there is more than one."""
        return f"{self.code}, revision {self.revision}" if self.revision > 1 or self.replaced_by_id else self.code

    def __str__(self) -> str:
        return self.code


class Slot(ShopRow):
    """One place of a stack, in the order of the stack."""

    spec = Link(Spec, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="slots")
    position = models.PositiveSmallIntegerField()
    name = models.TextField()
    role = models.TextField(choices=Role.choices)
    fit = Link(Fit, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    count = models.PositiveSmallIntegerField()
    lined_faces = models.PositiveSmallIntegerField()
    material = models.TextField(blank=True, default="")
    facing = models.TextField(blank=True, default="")
    swap = models.BooleanField(default=False)
    extra = models.PositiveSmallIntegerField(default=0)
    nominal_nm = models.BigIntegerField(null=True)
    #: What an old plate of this slot must keep to stay in; none by default.
    reuse_minimum_nm = models.BigIntegerField(null=True)
    cone_limit_nm = models.BigIntegerField(null=True)
    #: What a plate that goes in may measure, both inclusive; of a snap ring, what its groove takes. None: no limit.
    thinnest_nm = models.BigIntegerField(null=True)
    thickest_nm = models.BigIntegerField(null=True)
    #: Where a plate of another thickness than its like goes.
    place = models.TextField(blank=True, default="")

    class Meta(ShopRow.Meta):
        ordering = ["position"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="spec", name="slot_spec"),
            SameShop(field="fit", name="slot_fit"),
            models.UniqueConstraint(fields=["shop", "spec", "position"], name="slot_position"),
            models.UniqueConstraint(
                fields=["shop", "spec", "name"],
                name=constraint("slot_name", BadFigures, "Two slots of one pack spec have different names."),
            ),
            models.CheckConstraint(
                condition=Q(role="friction", lined_faces__in=[1, 2]) | (~Q(role="friction") & Q(lined_faces=0)),
                name=constraint(
                    "slot_lined_faces", BadFigures, "A friction is lined on 1 or 2 faces; nothing else is lined."
                ),
            ),
            models.CheckConstraint(
                condition=(~Q(role="wave") | Q(swap=False, extra=0)) & (~Q(role="friction") | Q(extra=0)),
                name=constraint(
                    "slot_hard_rules", BadFigures, "A wave plate stays, and the number of frictions never changes."
                ),
            ),
            models.CheckConstraint(
                condition=(Q(cone_limit_nm=None) | Q(cone_limit_nm__gt=0))
                & (Q(reuse_minimum_nm=None) | Q(reuse_minimum_nm__gt=0))
                & (Q(reuse_minimum_nm=None) | Q(nominal_nm=None) | Q(reuse_minimum_nm__lte=F("nominal_nm"))),
                name=constraint(
                    "slot_limits", BadFigures, "Limits are above zero, a reuse minimum not over the book size."
                ),
            ),
            models.CheckConstraint(
                condition=Q(nominal_nm=None) | Q(nominal_nm__gt=0),
                name=constraint("slot_nominal", BadFigures, "A book size is above zero."),
            ),
            models.CheckConstraint(
                condition=(Q(thinnest_nm=None) | Q(thinnest_nm__gt=0))
                & (Q(thickest_nm=None) | Q(thickest_nm__gt=0))
                & (Q(thinnest_nm=None) | Q(thickest_nm=None) | Q(thinnest_nm__lte=F("thickest_nm"))),
                name=constraint("slot_sizes", BadFigures, "The thinnest plate of a slot is not over the thickest."),
            ),
        ]

    @property
    def fit_ids(self) -> set[uuid.UUID]:
        """Its own fit and the further proven ones."""
        return {self.fit_id, *(further.fit_id for further in self.further_fits.all())}

    def __str__(self) -> str:
        return self.name


class SlotFit(ShopRow):
    """A further proven fit of a slot: the plates of a sibling unit."""

    slot = Link(
        Slot, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="further_fits"
    )
    fit = Link(Fit, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")

    class Meta(ShopRow.Meta):
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="slot", name="slotfit_slot"),
            SameShop(field="fit", name="slotfit_fit"),
            models.UniqueConstraint(fields=["shop", "slot", "fit"], name="slotfit_once"),
        ]
