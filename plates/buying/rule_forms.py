"""The forms of a rule: whose it is, and what it sets."""

from decimal import Decimal
from typing import Any

from django import forms

from plates.buying.models import (
    FILL_WEEKS,
    LEAD_SD_WEEKS,
    LEAD_WEEKS,
    REVIEW_WEEKS,
    SAFETY_WEEKS,
    SERVICE,
    BuyRule,
    Method,
)
from plates.buying.rules import RULE_FIGURES, size_centre
from plates.catalogue.models import BadFigures, Fit, Role
from plates.catalogue.selectors import fits
from plates.lengths import THICKEST_NM
from shop.forms import CodeField, DecimalField, FloatField, IntegerField, LengthField, PageForm


class RuleOfForm(PageForm):
    """Which sizes a rule is of; cleans ``fit`` to the row and ``nominal_nm`` to the centre of the size, or None."""

    focus = "fit"
    fit = CodeField(label="Fit")
    role = forms.ChoiceField(choices=Role.choices, label="Role")
    nominal = LengthField(
        label="Nominal of one size",
        required=False,
        longest_nm=THICKEST_NM,
        help_text="Left blank: all sizes of the row.",
    )

    def clean_fit(self) -> Fit:
        found: Fit | None = fits(self.person.shop_id).filter(code=self.cleaned_data["fit"]).first()
        if found is None:
            raise forms.ValidationError("No fit has this code.")
        return found

    def clean(self) -> dict[str, Any]:
        said: dict[str, Any] = super().clean() or {}
        nominal_nm = self.length("nominal")
        if nominal_nm is not None and "fit" in said and "role" in said:
            try:
                nominal_nm = size_centre(self.person.shop, said["fit"], said["role"], nominal_nm)
            except BadFigures as refusal:
                self.add_error("nominal", refusal.detail)
        return {**said, "nominal_nm": nominal_nm}


def _weeks(label: str, most: int, usual: float | None, says: str) -> FloatField:
    return FloatField(
        label=f"{label}, weeks", min_value=0, max_value=most, required=False, initial=usual, help_text=says
    )


def _plates(label: str, says: str) -> IntegerField:
    return IntegerField(label=f"{label}, plates", min_value=0, max_value=100_000, required=False, help_text=says)


class RuleForm(PageForm):
    """What a rule sets, shares in percent; what is left blank is as a shop begins with."""

    focus = ""
    method = forms.ChoiceField(
        choices=Method.choices,
        label="When to buy",
        help_text='Sets how "buy below" is reckoned; the rest goes with it.',
    )
    service = FloatField(
        label="Chance of missing none, %", min_value=50, max_value=99.99, required=False, initial=SERVICE * 100,
        help_text="By chance: how sure it is to be that none is missed while an order is waited for.",
    )  # fmt: skip
    lead_weeks = _weeks("Lead", 104, None, f"From order to plates. Blank: the kind's own, else {LEAD_WEEKS:g}.")
    lead_sd_weeks = _weeks("Lead varies by", 52, LEAD_SD_WEEKS, "By chance: the standard deviation of the lead.")
    review_weeks = _weeks(
        "Review", 52, REVIEW_WEEKS, "By chance: how long it is from one look at the list to the next."
    )
    safety_weeks = _weeks("Safety", 104, SAFETY_WEEKS, "By weeks of supply: what is kept beyond the lead.")
    fill_to = _plates("Fill to", "Up to so many are bought. Blank: worked out by what follows.")
    fill_weeks = _weeks("Fill for", 104, FILL_WEEKS, 'So long lasts what is bought over "buy below".')
    least = _plates("Least of an order", "Fewer are not ordered at once; whole packs go before.")
    order_cost = DecimalField(
        label="An order costs, money", min_value=0, max_digits=12, decimal_places=4, required=False,
        help_text="With the next one and a price of the kind, what is cheapest over the year is bought.",
    )  # fmt: skip
    holding_share = FloatField(
        label="To keep a plate for a year, % of its price", min_value=0.1, max_value=1000, required=False,
        help_text="Money, room and what goes out of use.",
    )  # fmt: skip

    def figures(self) -> dict[str, Any]:
        """What :func:`~plates.buying.rules.rule_set` takes."""
        said = {name: value for name, value in self.cleaned_data.items() if value not in (None, "")}
        return said | {name: said[name] / 100 for name in ("service", "holding_share") if name in said}


def figures_shown(rule: BuyRule) -> dict[str, Any]:
    """A rule as the form shows it."""
    said = {name: getattr(rule, name) for name in RULE_FIGURES}
    shares = {
        name: float(f"{said[name] * 100:.10g}") for name in ("service", "holding_share") if said[name] is not None
    }
    cost: Decimal | None = said["order_cost"]
    return said | shares | {"order_cost": cost and f"{cost.normalize():f}", "least": said["least"] or None}
