"""A match as a person sees it: verdict in words, options with their drawings, the slip in the order of the bins."""

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from django.utils.safestring import SafeString

from plates.bench.budget import budget_of
from plates.bench.drawing import Layer, Limits, Mark, Stack, figure, stack_drawing, window_drawing
from plates.bench.models import Match, MatchState
from plates.bench.odd import odd_ones
from plates.bench.question import Question
from plates.bench.selectors import standing_holds
from plates.catalogue.models import Role
from plates.catalogue.spec_models import Slot, Spec
from plates.catalogue.specs import SlotData
from plates.lengths import both
from plates.measuring.uncertainty import Part

L = TypeVar("L")

#: The usual cautions of the trade, on every slip (common practice; test and cleaning air: 29 CFR 1910.242(b)).
USUAL_CAUTIONS = [
    "The service manual of the unit supersedes this slip. Follow local codes and licensed practice.",
    "A prediction is arithmetic: measure the assembled pack before it goes in.",
    "Test air only at the manual's figure; cleaning air below 30 psi, and eye protection.",
    "A snap ring under load jumps: eye protection, and the right pliers.",
    "A spring compressor holds a loaded spring: seat it fully and stand beside it, not over it.",
    "Old lining dust may hold asbestos: never dry-brush and never blow it off.",
]


@dataclass(frozen=True)
class Fetch:
    """``count`` plates of one slot from one place."""

    place: str
    on_shelf: bool
    slot: str
    kind: str
    thicknesses_nm: list[int]

    @property
    def count(self) -> int:
        return len(self.thicknesses_nm)


def walk(code: str) -> list[tuple[int, str]]:
    """The place of a bin on the way along the bins: B-2 before B-14."""
    return [(int(part), "") if part.isdecimal() else (-1, part) for part in re.split(r"([0-9]+)", code) if part]


def fetch(rows: Iterable[dict[str, Any]]) -> list[Fetch]:
    """What to fetch, grouped by where it lies: bins as one walks along them, what has no bin, what is on a bench."""
    groups: dict[tuple[int, str, str, str], list[int]] = {}
    for row in rows:
        shelved = row["plate"] is not None and not row.get("out_of")
        place = row["bin"] or "the unsorted plates" if shelved else row["source"] or "the bench"
        if row.get("out_of"):
            place = f"what came {place}"
        rank = 2 if not shelved else 0 if row["bin"] else 1
        groups.setdefault((rank, place, row["slot"], row["kind"] or ""), []).append(row["thickness_nm"])
    return [
        Fetch(place, rank < 2, slot, kind, sorted(lengths))
        for (rank, place, slot, kind), lengths in sorted(
            groups.items(), key=lambda group: (group[0][0], walk(group[0][1]), group[0][1:])
        )
    ]


def verdict(match: Match) -> str:
    """A gap pack is loose or tight, a height pack too tall or too short; an empty drum is neither yet."""
    if match.question.get("room"):
        return "to be filled"
    if match.verdict == "in_window":
        return "in the window"
    words = {"gap": ("loose", "tight"), "height": ("too tall", "too short")}[match.spec.measures]
    return words[match.verdict == "low"]


def limits_of(row: Match | Spec) -> Limits:
    return Limits(row.low_nm, row.high_nm, row.target_nm, row.limit_low_nm, row.limit_high_nm)


def margin_nm(match: Match, predicted_nm: int) -> int:
    """How far inside the window a prediction lies: to the nearer limit."""
    return min(predicted_nm - match.low_nm, match.high_nm - predicted_nm)


WAYS = {
    "ordinary": "with the slot's own fit",
    "substitute": "with a further proven fit",
    "extra": "with one plate more than the spec counts",
}


@dataclass(frozen=True)
class Shown:
    """One option, ready for the page."""

    option: dict[str, Any]
    ins: list[Fetch]
    outs: list[tuple[str, list[int]]]
    margin_nm: int
    stack: SafeString
    budget: list[Part]
    odd: list[dict[str, Any]]

    @property
    def way(self) -> str:
        return WAYS[self.option["way"]]

    @property
    def sure(self) -> bool:
        return bool(self.option["confidence"] == "sure")

    @property
    def doubt(self) -> bool:
        """Whether a cone that comes out leaves the prediction in doubt."""
        return bool(self.option["up_to_nm"] != self.option["predicted_nm"])


def outs_of(option: dict[str, Any]) -> list[tuple[str, list[int]]]:
    """What comes out, slot by slot."""
    found: dict[str, list[int]] = {}
    for row in option["out"]:
        found.setdefault(row["slot"], []).append(row["thickness_nm"])
    return [(slot, sorted(lengths)) for slot, lengths in found.items()]


def options_shown(match: Match) -> list[Shown]:
    """The current options, each with its stack drawn before and after."""
    return [option_shown(match, one) for one in match.standing]


def option_shown(match: Match, option: dict[str, Any]) -> Shown:
    return Shown(
        option,
        fetch(option["in"]),
        outs_of(option),
        margin_nm(match, option["predicted_nm"]),
        _stacks(match, option),
        budget_of(option, match.spec.measures),
        odd_ones(match.question, option),
    )


def shortfall_shown(match: Match) -> dict[str, Any] | None:
    """What the shelf could not answer: each range with its role in words, the nearest exchange as what to fetch, each
    hold with whether it still stands.
    """
    if not (told := match.shortfall):
        return None
    nearest, holds = told["nearest"], told.get("holds", [])
    rows = [{**row, "role_name": Role(row["role"]).label} for row in told["would_close"]]
    standing = standing_holds(match.shop_id, [hold["match"] for hold in holds])
    return {
        **told,
        "would_close": rows,
        "ins": fetch(nearest.get("in", [])) if nearest else [],
        "outs": outs_of(nearest) if nearest and "out" in nearest else [],
        "holds": [
            {**hold, "until": standing.get(hold["match"]), "ins": fetch(hold["plates"])} for hold in holds
        ],
    }


# --- drawings -------------------------------------------------------------------------------------------------


def interleaved(slots: Sequence[Slot | SlotData], filled: dict[str, list[L]]) -> list[L]:
    """Slots from the bottom up; steels and frictions that stand beside each other alternate as in the pack."""
    layers: list[L] = []
    rest = list(slots)
    while rest:
        slot = rest.pop(0)
        mine = filled[slot.name]
        if rest and {slot.role, rest[0].role} == {Role.STEEL, Role.FRICTION}:
            others = filled[rest.pop(0).name]
            for row in range(max(len(mine), len(others))):
                layers += mine[row : row + 1] + others[row : row + 1]
        else:
            layers += mine
    return layers


def _filled(
    slots: Sequence[Slot | SlotData], question: Question | None, option: dict[str, Any] | None, after: bool
) -> list[Layer]:
    filled: dict[str, list[Layer]] = {}
    for slot in slots:
        side = slot.fit.tooth_side
        entries = question.installed.get(slot.name) if question else None
        if question and slot.name in question.left_out:
            layers = []
        elif entries is not None:
            layers = [Layer(slot.role, entry.thickness_nm, "", side) for entry in entries]
        else:
            layers = [Layer(slot.role, slot.nominal_nm, "", side)] * slot.count
        if option:
            goes = {row["row"] for row in option["out"] if row["slot"] == slot.name}
            comes = [row["thickness_nm"] for row in option["in"] if row["slot"] == slot.name]
            if after:
                layers = [layer for row, layer in enumerate(layers) if row not in goes]
                layers += [Layer(slot.role, thickness_nm, "in", side) for thickness_nm in comes]
            else:
                layers = [
                    Layer(layer.role, layer.thickness_nm, "out" if row in goes else "", side)
                    for row, layer in enumerate(layers)
                ]
        filled[slot.name] = layers
    return interleaved(slots, filled)


def _said(layers: Sequence[Layer], unit: str) -> str:
    counts = Counter((layer.role, layer.thickness_nm, layer.change) for layer in layers)
    change = {"in": " going in", "out": " coming out", "": ""}
    return ", ".join(
        f"{count} {Role(role).label} {figure(nm, unit) if nm else 'not read'}{change[mark]}"
        for (role, nm, mark), count in counts.items()
    )


def _stacks(match: Match, option: dict[str, Any]) -> SafeString:
    slots = list(match.spec.slots.all())
    question = Question.from_json(match.question)
    before = _filled(slots, question, option, after=False)
    after = _filled(slots, question, option, after=True)
    now, said = ("what stays", "What stays") if question.room else ("as it is", "As it is")
    stacks = [Stack(now, before, match.clearance_nm), Stack("after", after, option["predicted_nm"])]
    if not option["changes"]:
        stacks = stacks[:1]
    return stack_drawing(
        stacks=stacks,
        measures=match.spec.measures,
        limits=limits_of(match),
        unit=match.unit,
        title=f"The stack before and after option {option['number']}, to scale",
        desc=f"{said}: {_said(before, match.unit)}. After: {_said(after, match.unit)}.",
    )


def stack_of_match(match: Match) -> SafeString:
    """The pack as it was measured, and beside it what was taken for it."""
    if built := match.built_now:
        return _stacks(match, built)
    slots = list(match.spec.slots.all())
    question = Question.from_json(match.question)
    layers, now = _filled(slots, question, None, after=False), "what stays" if question.room else "as it is"
    return stack_drawing(
        stacks=[Stack(now, layers, match.clearance_nm)],
        measures=match.spec.measures,
        limits=limits_of(match),
        unit=match.unit,
        title=f"The stack {now}, to scale",
        desc=f"{_said(layers, match.unit)}.",
    )


def stack_of_spec(spec: Spec) -> SafeString:
    """The pack as the book has it, at its target."""
    return stack_of_book(
        list(spec.slots.all()), measures=spec.measures, limits=limits_of(spec), unit=spec.unit, name=spec.code
    )


def stack_of_book(
    slots: Sequence[Slot | SlotData], *, measures: str, limits: Limits | None, unit: str, name: str
) -> SafeString:
    """Slots at book size and at the target; without a window the plates alone."""
    layers = _filled(slots, None, None, after=False)
    return stack_drawing(
        stacks=[Stack("at target" if limits else "no window yet", layers, limits.target_nm if limits else None)],
        measures=measures,
        limits=limits,
        unit=unit,
        title=f"The stack of {name} at book size, to scale",
        desc=f"{_said(layers, unit)}.",
    )


def _allowed(match: Match) -> str:
    known = [nm for nm in (match.limit_low_nm, match.limit_high_nm) if nm is not None]
    return f", allowed in a pack that runs up to {' and '.join(both(nm, match.unit) for nm in known)}" if known else ""


def window_of_match(match: Match) -> SafeString:
    """The window, the reading and each prediction on one scale; of a taken match only what was taken."""
    built = match.built_now
    marks = []
    if not match.question.get("room"):  # an empty drum has no clearance to set beside its window
        marks = [Mark("before" if built else "now", match.clearance_nm, match.u_nm, main=not built)]
    options = [built] if built else match.standing
    marks += [Mark(f"option {one['number']}", one["predicted_nm"], one["u_nm"]) for one in options]
    if match.state == MatchState.CLOSED:
        last = list(match.final_checks.all())[-1]
        marks.append(Mark("final", last.clearance_nm, last.u_reading_nm, main=True))
    said = "; ".join(f"{mark.label} {both(mark.at_nm, match.unit)}" for mark in marks)
    return window_drawing(
        limits=limits_of(match),
        marks=marks,
        unit=match.unit,
        title="The window and the figures, to scale",
        desc=f"Window {both(match.low_nm, match.unit)} to {both(match.high_nm, match.unit)}{_allowed(match)}; {said}.",
    )
