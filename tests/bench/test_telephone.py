"""What is said on the telephone names the plate, and every plate that it names closes the pack."""

import random
import re
from dataclasses import replace
from fractions import Fraction
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plates.bench.short.telephone import lines
from plates.catalogue.models import Fit
from plates.catalogue.spec_models import Slot
from plates.lengths import INCH, MM, length_parse
from plates.matching.problem import Problem
from plates.matching.search import match
from plates.matching.shortfall import would_close
from tests.matching.packs import pool_of, random_pack, with_limits
from tests.matching.strategies import packs

NM_PER = {"in": INCH, "mm": MM}
COUNTS = {"one": 1, "two": 2}
FIGURE = r"((?:\d+)?\.\d+)"
#: A middle and its half width, two ends, or one length.
SAID = re.compile(rf"(?:{FIGURE} ± {FIGURE}|from {FIGURE} to {FIGURE}|of exactly {FIGURE}) (in|mm)")


def fit(**more) -> Fit:
    across = {"outer_nm": length_parse("5.5 in"), "inner_nm": length_parse("4.2 in")}
    return Fit(**{"tooth_side": "internal", "teeth": 36, **across, **more})


def slot(name: str = "steels", role: str = "steel", **more) -> Slot:
    return Slot(**{"name": name, "role": role, "fit": fit(), "count": 5, "lined_faces": 0, **more})


def row(start: str, end: str, count: int = 1, name: str = "steels") -> dict:
    return {"slot": name, "count": count, "from_nm": length_parse(start), "to_nm": length_parse(end)}


def say(*ranges: dict, slots=None, spread_nm=None, unit="in") -> list[str]:
    return lines(ranges, slots or [slot()], spread_nm=spread_nm, unit=unit)


def intervals(line: str) -> list[tuple[Fraction, Fraction]]:
    """(from, to) in nm of every unit in which the line says what a plate may measure."""
    found = []
    for middle, half, start, end, point, unit in SAID.findall(line):
        if middle:
            start, end = Fraction(middle) - Fraction(half), Fraction(middle) + Fraction(half)
        found.append((Fraction(start or point) * NM_PER[unit], Fraction(end or point) * NM_PER[unit]))
    return found


FITTED = "36 teeth inside, 5.500 × 4.200 in (139.70 × 106.68 mm)"


def test_the_line():
    assert say(row("0.086 in", "0.088 in", 2)) == [
        f"Need two steels at .0870 ± .0010 in (2.210 ± .025 mm), {FITTED}"
    ]
    assert say(row("0.086 in", "0.088 in"), unit="mm") == [
        "Need one steel at 2.210 ± .025 mm (.0870 ± .0010 in), 36 teeth inside, "
        "139.70 × 106.68 mm (5.500 × 4.200 in)"
    ]


def test_a_narrow_range_is_said_by_its_ends():
    assert say(row("0.0860 in", "0.0864 in"))[0].startswith("Need one steel at .0862 ± .0002 in (")
    assert say(row("0.0860 in", "0.08639 in"))[0].startswith(
        "Need one steel from .0860 to .08639 in (from 2.1844 to 2.194306 mm), 36"
    )
    assert say(row("2.2098 mm", "2.2098 mm"))[0].startswith("Need one steel of exactly .0870 in (of exactly 2.2098 mm)")
    assert say(row("2.209801 mm", "2.209801 mm"))[0].startswith("Need one steel of exactly 2.209801 mm, 36")


def test_the_fewest_plates_and_of_each_slot_the_widest_range_the_widest_first():
    slots = [slot(), slot("ring", "snap_ring", fit=fit(tooth_side="none", teeth=0))]
    told = say(
        row("0.060 in", "0.061 in"), row("0.080 in", "0.082 in"), row("0.070 in", "0.099 in", 2),
        row("0.050 in", "0.055 in", name="ring"), slots=slots,
    )  # fmt: skip
    assert [line.partition(" (")[0] for line in told] == [
        "Need one snap ring at .0525 ± .0025 in", "Need one steel at .0810 ± .0010 in",
    ]  # fmt: skip
    assert "no teeth" in told[0]
    assert say() == []


@pytest.mark.parametrize(
    ("role", "one", "two"),
    [
        ("steel", "steel", "steels"), ("friction", "friction", "frictions"), ("apply", "apply plate", "apply plates"),
        ("pressure", "pressure plate", "pressure plates"), ("spacer", "spacer", "spacers"),
        ("snap_ring", "snap ring", "snap rings"),
    ],
)  # fmt: skip
def test_one_and_two_of_each(role, one, two):
    (first,), (second,) = (say(row("0.080 in", "0.082 in", count), slots=[slot(role=role)]) for count in (1, 2))
    assert first.startswith(f"Need one {one} at ") and second.startswith(f"Need two {two} at ")


def test_all_that_must_agree_is_said():
    toothed = fit(tooth_side="external", tooth_form="square", index="one wide tooth", oil_holes="12 x 3 mm")
    (line,) = say(
        row("0.080 in", "0.082 in"), slots=[slot(role="friction", lined_faces=1, fit=toothed, facing="paper")]
    )
    assert line.endswith(
        "36 teeth outside, tooth form square, one wide tooth, 5.500 × 4.200 in (139.70 × 106.68 mm), "
        "oil holes 12 x 3 mm, lined on one face, paper facing"
    )
    assert "lined on both faces" in say(row("0.08 in", "0.09 in"), slots=[slot(role="friction", lined_faces=2)])[0]
    assert say(row("0.08 in", "0.09 in"), slots=[slot(material="spring steel")])[0].endswith(", spring steel")


def test_two_that_may_not_differ_as_far_as_the_range_reaches():
    apart = "no more than .0010 in (.025 mm) apart"
    spread_nm = length_parse("0.0010 in")
    assert f"), {apart}, 36" in say(row("0.086 in", "0.088 in", 2), spread_nm=spread_nm)[0]
    assert "apart" not in say(row("0.086 in", "0.087 in", 2), spread_nm=spread_nm)[0]
    assert "apart" not in say(row("0.086 in", "0.088 in"), spread_nm=spread_nm)[0]
    rings = [slot(role="snap_ring")]
    assert "apart" not in say(row("0.086 in", "0.088 in", 2), slots=rings, spread_nm=spread_nm)[0]


@given(
    start=st.integers(1, 10**7),
    width=st.integers(0, 10**5) | st.integers(0, 10**7),
    unit=st.sampled_from(["in", "mm"]),
)
def test_what_is_said_lies_in_the_range_and_is_most_of_it(start, width, unit):
    ranges = {"slot": "steels", "count": 1, "from_nm": start, "to_nm": start + width}
    said = intervals(say(ranges, unit=unit)[0])
    assert 1 <= len(said) <= 2
    for low, high in said:
        assert start <= low <= high <= start + width
        assert high - low > width - 3 * 2_540


def closes(problem: Problem, place: int, thicknesses: list[int]) -> bool:
    """Whether these plates, alone on the shelf, close the pack in that slot."""
    none = np.empty(0, np.int64)
    places = [replace(one, ordinary=none, substitute=none, extra=0) for one in problem.slots]
    places[place] = replace(places[place], ordinary=np.arange(len(thicknesses)))
    return match(replace(problem, pool=pool_of(thicknesses), slots=tuple(places))).options != ()


def every_plate_said_closes(problem: Problem) -> int:
    """Ask for what is said, at both ends; of two plates each may lie at either end, as far as they may differ."""
    slots = [slot(str(number)) for number in range(len(problem.slots))]
    spread_nm = problem.spread.most_nm if problem.spread else None
    ranges = [
        {"slot": str(one.slot), "count": one.count, "from_nm": one.from_nm, "to_nm": one.to_nm}
        for one in would_close(problem)
    ]
    asked = 0
    for line, place in _lines_by_place(ranges, slots, spread_nm):
        count = COUNTS[line.split()[1]]
        for low, high in intervals(line.partition(", ")[0]):
            for plates in product({-int(-low // 1), int(high // 1)}, repeat=count):
                if "apart" in line:
                    plates = tuple(min(one, min(plates) + spread_nm) for one in plates)
                assert closes(problem, place, list(plates)), (line, plates)
                asked += 1
    return asked


def _lines_by_place(ranges, slots, spread_nm):
    """Each slot's line, with the number of the slot."""
    fewest = min((one["count"] for one in ranges), default=0)
    for number, one in enumerate(slots):
        mine = [each for each in ranges if each["slot"] == one.name and each["count"] == fewest]
        yield from ((line, number) for line in lines(mine, [one], spread_nm=spread_nm, unit="in"))


def out_of_window(problem: Problem) -> bool:
    return not any(option.changes == 0 for option in match(problem).options)


@settings(max_examples=150, deadline=None)
@given(problem=packs())
def test_what_is_said_closes_the_pack(problem):
    if out_of_window(problem):
        every_plate_said_closes(problem)


def test_what_is_said_keeps_to_the_limits_of_the_pack():
    """Spread, splines, and the thinnest and thickest of a slot; 600 random packs, of which many have words to say."""
    asked = 0
    for seed in range(600):
        rng = random.Random(seed)
        problem = with_limits(random_pack(rng, 0 if seed % 2 else 4, least=0, slots=2), rng)
        sizes = [(1, None), (2_540 * 705, None), (1, 2_540 * 720), (2_540 * 710, 2_540 * 718)]
        limits = [rng.choice(sizes) for _ in problem.slots]
        problem = replace(
            problem,
            slots=tuple(
                replace(one, thinnest_nm=thinnest, thickest_nm=thickest)
                for one, (thinnest, thickest) in zip(problem.slots, limits, strict=True)
            ),
        )
        if not out_of_window(problem):
            continue
        for one in would_close(problem):
            thinnest, thickest = limits[one.slot]
            assert one.from_nm >= thinnest and (thickest is None or one.to_nm <= thickest)
        asked += every_plate_said_closes(problem)
    assert asked > 300, asked
