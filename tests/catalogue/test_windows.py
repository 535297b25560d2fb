"""Windows: the rule of the trade, a manual's figures, and figures printed in both units."""

from typing import Any

import pytest

from plates.catalogue.spec_models import WindowRefused
from plates.catalogue.windows import Printed, UnitsDisagree, counted_frictions, window_manual, window_rule
from plates.lengths import INCH, THOU, inch, length_parse


@pytest.mark.parametrize(("frictions", "low", "high"), [(6, "0.0480", "0.0720"), (5, "0.0400", "0.0600")])
def test_the_rule_of_the_trade(frictions: int, low: str, high: str) -> None:
    """0.008 to 0.012 in for each counted friction: common practice, no source."""
    window = window_rule(faces=2 * frictions, measures="gap")
    assert (inch(window.low_nm), inch(window.high_nm), window.source) == (low, high, "rule")
    assert window.target_nm * 2 == window.low_nm + window.high_nm


def test_faces_are_counted_not_plates() -> None:
    assert [counted_frictions(faces) for faces in (10, 12, 11)] == [5, 6, 5.5]
    assert window_rule(faces=11, measures="gap").low_nm == 44 * THOU


@pytest.mark.parametrize(("faces", "measures"), [(0, "gap"), (10, "height")])
def test_no_rule_without_frictions_nor_for_a_height(faces: int, measures: str) -> None:
    with pytest.raises(WindowRefused, match="manual"):
        window_rule(faces=faces, measures=measures)


@pytest.mark.parametrize(
    ("low", "high", "also", "source"),
    [
        ("0.073 in", "0.141 in", ("1.85 mm", "3.58 mm"), "TM 9-2320-272-24-4 5-56"),
        ("0.074 in", "0.147 in", ("1.88 mm", "3.73 mm"), "TM 5-4210-229-14&P p. 6-86"),
        ("0.080 in", "0.135 in", ("2.03 mm", "3.43 mm"), "TM 10-3930-664-24"),
        ("0.004 in", "0.022 in", ("0.102 mm", "0.559 mm"), "TM 9-2320-387-24-2 Table 28-2"),
    ],
)  # each read in a stored copy of the source, and recomputed
def test_published_windows_in_both_units_are_accepted(low: str, high: str, also: tuple[str, str], source: str) -> None:
    window = window_manual(low=low, high=high, reference=source, also=Printed(*also))
    assert (window.low_nm, window.high_nm, window.unit) == (length_parse(low), length_parse(high), "in")


@pytest.mark.parametrize(("unit", "high"), [("in", "0.102 in"), ("mm", "2.74 mm")])
def test_a_published_misprint_waits_for_a_person(unit: str, high: str) -> None:
    """A published manual (S, C) prints 0.102 in as 2.74 mm; true is 2.591."""
    printed: dict[str, Any] = {
        "low": "0.048 in", "high": "0.102 in", "reference": "a manual", "also": Printed("1.22 mm", "2.74 mm"),
    }  # fmt: skip
    with pytest.raises(UnitsDisagree, match=r"0\.102 in is not 2\.74 mm"):
        window_manual(**printed)
    window = window_manual(**printed, governs=unit)
    assert (window.high_nm, window.unit) == (length_parse(high), unit)


def test_depth_subtraction_of_a_published_pack() -> None:
    """TM 9-2320-272-24-4, 5-56 (S): housing depth less piston depth, 8 plates and 7 discs, 0.073 to 0.141 in.

    The depths are invented; the window is the manual's.
    """
    window = window_manual(low="0.073 in", high="0.141 in", reference="TM 9-2320-272-24-4 5-56")
    inside, outside = (length_parse("2.310 in") - length_parse(piston) for piston in ("2.203 in", "2.160 in"))
    assert window.low_nm <= inside <= window.high_nm < outside


def test_published_feeler_windows_start_at_the_rule_of_the_trade() -> None:
    """TM 10-3930-664-24, pp. 4-57 and 4-62 (S, C): 6 discs 0.048-0.102, 10 discs 0.080-0.135 in; 0.008 for each."""
    for discs, low, high in [(6, "0.048 in", "0.102 in"), (10, "0.080 in", "0.135 in")]:
        window = window_manual(low=low, high=high, reference="TM 10-3930-664-24")
        assert window.low_nm == discs * INCH * 8 // 1000 == window_rule(faces=2 * discs, measures="gap").low_nm


def test_published_thick_and_thin_steels_are_seventeen_thou_apart() -> None:
    """TM 9-2320-279-34-1, p. 7-111 (S): thick 0.116-0.123, thin 0.099-0.106 in, the middles 0.017 apart."""
    thick = window_manual(low="0.116 in", high="0.123 in", reference="p. 7-111").target_nm
    thin = window_manual(low="0.099 in", high="0.106 in", reference="p. 7-111").target_nm
    assert thick - thin == 17 * THOU
    height = window_manual(low="2.521 in", high="2.553 in", reference="p. 7-111")
    assert height.high_nm - height.low_nm > thick - thin  # so one change never jumps over the window


@pytest.mark.parametrize("more", [{"low": "0.060 in", "high": "0.040 in"}, {"low": "0.040 in", "high": "0.040 in"}])
def test_low_is_below_high(more: dict[str, str]) -> None:
    with pytest.raises(WindowRefused, match="not below"):
        window_manual(**more, reference="p. 1")


def test_the_second_figures_are_in_the_other_unit() -> None:
    with pytest.raises(WindowRefused, match="other unit"):
        window_manual(low="0.04 in", high="0.06 in", reference="p. 1", also=Printed("40 thou", "60 thou"))


@pytest.mark.parametrize("target", ["0.039 in", "1.524001 mm"])
def test_the_target_lies_in_the_window(target: str) -> None:
    with pytest.raises(WindowRefused, match="target"):
        window_rule(faces=10, measures="gap", target_nm=length_parse(target))
