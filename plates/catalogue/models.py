"""Fits and kinds: what plates there are, and what they cost."""

from decimal import Decimal

from django.db import models
from django.db.models import F, Q

from shop.errors import CodeTaken, Refusal, constraint
from shop.links import Link
from shop.rows import SameShop, ShopRow


class Role(models.TextChoices):
    STEEL = "steel", "steel"
    FRICTION = "friction", "friction"
    APPLY = "apply", "apply plate"
    PRESSURE = "pressure", "pressure plate"
    WAVE = "wave", "wave plate"
    SNAP_RING = "snap_ring", "snap ring"
    SPACER = "spacer", "spacer"


class ToothSide(models.TextChoices):
    EXTERNAL = "external", "teeth outside"
    INTERNAL = "internal", "teeth inside"
    NONE = "none", "no teeth"


class BadFigures(Refusal):
    code, title = "bad_figures", "The figures do not go together"


class Fit(ShopRow):
    """What must agree for a plate to go on the same splines. Interchange follows the code, not the figures."""

    code = models.TextField()
    tooth_side = models.TextField(choices=ToothSide.choices)
    teeth = models.PositiveIntegerField()
    outer_nm = models.BigIntegerField()
    inner_nm = models.BigIntegerField()
    tooth_form = models.TextField(blank=True, default="")
    index = models.TextField(blank=True, default="")
    oil_holes = models.TextField(blank=True, default="")

    class Meta(ShopRow.Meta):
        ordering = ["code"]
        constraints = [
            *ShopRow.Meta.constraints,
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("fit_code", CodeTaken, "A fit with this code is there already."),
            ),
            models.CheckConstraint(
                condition=Q(tooth_side="none", teeth=0) | (~Q(tooth_side="none") & Q(teeth__gt=0)),
                name=constraint("fit_teeth", BadFigures, "A fit has 0 teeth exactly when its tooth side is none."),
            ),
            models.CheckConstraint(
                condition=Q(inner_nm__gt=0, outer_nm__gt=F("inner_nm")),
                name=constraint("fit_diameters", BadFigures, "The outer diameter is larger than the inner one."),
            ),
        ]

    def __str__(self) -> str:
        return self.code


class Supplier(ShopRow):
    name = models.TextField()

    class Meta(ShopRow.Meta):
        constraints = [
            *ShopRow.Meta.constraints,
            models.UniqueConstraint(fields=["shop", "name"], name="supplier_name"),
        ]

    def __str__(self) -> str:
        return self.name


class Kind(ShopRow):
    """One catalogued plate: fit, role, lined faces, nominal thickness, material, facing."""

    code = models.TextField()
    fit = Link(Fit, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="kinds")
    role = models.TextField(choices=Role.choices)
    lined_faces = models.PositiveSmallIntegerField()
    nominal_nm = models.BigIntegerField()
    tolerance_nm = models.BigIntegerField(null=True)
    reuse_minimum_nm = models.BigIntegerField(null=True)
    material = models.TextField(blank=True, default="")
    facing = models.TextField(blank=True, default="")
    groove = models.TextField(blank=True, default="")
    made_coned_nm = models.BigIntegerField(null=True)
    #: Beyond these a plate is quarantined when it is scanned in; none by default. Cone counts from the made cone.
    taper_limit_nm = models.BigIntegerField(null=True)
    cone_limit_nm = models.BigIntegerField(null=True)
    warp_limit_nm = models.BigIntegerField(null=True)
    set_of = models.TextField(blank=True, default="")
    mark = models.TextField(blank=True, default="")
    supplier = Link(
        Supplier, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="kinds"
    )
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4, null=True)
    pack_size = models.PositiveIntegerField(default=1)
    lead_days = models.PositiveIntegerField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["code"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="fit", name="kind_fit"),
            SameShop(field="supplier", name="kind_supplier"),
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("kind_code", CodeTaken, "A kind with this code is there already."),
            ),
            models.CheckConstraint(
                condition=Q(role="friction", lined_faces__in=[1, 2]) | (~Q(role="friction") & Q(lined_faces=0)),
                name=constraint(
                    "kind_lined_faces", BadFigures, "A friction is lined on 1 or 2 faces; nothing else is lined."
                ),
            ),
            models.CheckConstraint(
                condition=Q(nominal_nm__gt=0)
                & (Q(tolerance_nm=None) | Q(tolerance_nm__gt=0))
                & (Q(reuse_minimum_nm=None) | Q(reuse_minimum_nm__gt=0, reuse_minimum_nm__lte=F("nominal_nm"))),
                name=constraint(
                    "kind_lengths",
                    BadFigures,
                    "Nominal and tolerance are above zero, the reuse minimum not over nominal.",
                ),
            ),
            models.CheckConstraint(
                condition=(Q(taper_limit_nm=None) | Q(taper_limit_nm__gt=0))
                & (Q(cone_limit_nm=None) | Q(cone_limit_nm__gt=0))
                & (Q(warp_limit_nm=None) | Q(warp_limit_nm__gt=0)),
                name=constraint("kind_limits", BadFigures, "Limits of taper, cone and warp are above zero."),
            ),
            models.CheckConstraint(
                condition=Q(pack_size__gt=0),
                name=constraint("kind_pack_size", BadFigures, "A pack holds at least one plate."),
            ),
        ]
        indexes = [models.Index(fields=["shop", "fit", "role", "nominal_nm"], name="kind_sizes")]

    def __str__(self) -> str:
        return self.code

    def price(self, count: int) -> Decimal | None:
        """What a plate costs when so many are ordered at once; None where that is not known."""
        earned = [one.unit_cost for one in self.price_breaks.all() if one.from_count <= count]
        return earned[-1] if earned else self.unit_cost


class ScanCode(ShopRow):
    """What a scanner reads off a label or a bag, and the kind that it means."""

    code = models.TextField()
    kind = Link(
        Kind, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="scan_codes"
    )

    class Meta(ShopRow.Meta):
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="kind", name="scancode_kind"),
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("scancode_code", CodeTaken, "This scan code means another kind already."),
            ),
        ]
        indexes = [models.Index(fields=["shop", "kind"], name="scancode_of_kind")]

    def __str__(self) -> str:
        return self.code


class PriceBreak(ShopRow):
    """From so many plates on, ordered at once, each of them costs this."""

    kind = Link(
        Kind, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="price_breaks"
    )
    from_count = models.PositiveIntegerField()
    unit_cost = models.DecimalField(max_digits=12, decimal_places=4)

    class Meta(ShopRow.Meta):
        ordering = ["from_count"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="kind", name="pricebreak_kind"),
            models.UniqueConstraint(fields=["shop", "kind", "from_count"], name="pricebreak_once"),
            models.CheckConstraint(
                condition=Q(from_count__gt=1, unit_cost__gte=0),
                name=constraint(
                    "pricebreak_figures",
                    BadFigures,
                    "A price break begins at 2 plates or more, and its price is not below zero.",
                ),
            ),
        ]
