"""Stacks and windows are drawn to scale, say in words what they show, and carry no markup from outside."""

import xml.etree.ElementTree as ET

import pytest

from plates.bench.drawing import Layer, Limits, Mark, Stack, stack_drawing, window_drawing
from plates.lengths import length_parse

SVG = "{http://www.w3.org/2000/svg}"
LIMITS = Limits(length_parse("0.040 in"), length_parse("0.060 in"), length_parse("0.050 in"))


def drawn(*stacks: Stack, measures: str = "gap", title: str = "A stack") -> ET.Element:
    svg = stack_drawing(stacks=stacks, measures=measures, limits=LIMITS, unit="in", title=title, desc="Two steels.")
    return ET.fromstring(svg)


def plates(root: ET.Element) -> list[ET.Element]:
    return [rect for rect in root.iter(f"{SVG}rect") if "plate" in rect.attrib["class"]]


@pytest.mark.parametrize(
    "texts", [["0.0770 in", "0.0870 in"], ["1.6 mm", "2.0 mm", "3.8 mm"], ["0.010 in", "0.250 in"]]
)
def test_heights_are_proportional_to_thickness(texts: list[str]) -> None:
    lengths = [length_parse(text) for text in texts]
    root = drawn(Stack("now", [Layer("steel", nm) for nm in lengths], length_parse("0.05 in")))
    heights = [float(rect.attrib["height"]) for rect in plates(root)]
    for height, nm in zip(heights, lengths, strict=True):
        assert height / heights[0] == pytest.approx(nm / lengths[0], rel=1e-3)


def test_plates_lie_on_one_another_and_the_gap_is_to_the_same_scale() -> None:
    nm, gap = length_parse("0.080 in"), length_parse("0.074 in")
    root = drawn(Stack("now", [Layer("steel", nm)] * 3, gap))
    rects = plates(root)
    tops = [float(rect.attrib["y"]) for rect in rects]
    height = float(rects[0].attrib["height"])
    assert [tops[0] - tops[1], tops[1] - tops[2]] == pytest.approx([height, height], abs=0.01)
    base, stop = (float(line.attrib["y1"]) for line in root.iter(f"{SVG}line") if line.attrib["class"] == "thick")
    assert base == pytest.approx(tops[0] + height, abs=0.01)
    assert tops[2] - stop == pytest.approx(height * gap / nm, rel=1e-3)


def test_two_stacks_share_one_scale_and_one_stop() -> None:
    """What the gap loses, the stack has gained: the stop stands still."""
    thin, thick = length_parse("0.070 in"), length_parse("0.077 in")
    before = Stack("as it is", [Layer("steel", thin, "out")], length_parse("0.074 in"))
    after = Stack("after", [Layer("steel", thick, "in")], length_parse("0.067 in"))
    root = drawn(before, after)
    stops = [float(line.attrib["y1"]) for line in root.iter(f"{SVG}line") if line.attrib["class"] == "thick"][1:]
    assert stops[0] == pytest.approx(stops[1], abs=0.01)
    assert [rect.attrib["class"].split()[-1] for rect in plates(root)] == ["out", "in"]


def test_a_height_is_measured_from_the_base() -> None:
    nm = length_parse("2.0 mm")
    root = drawn(Stack("now", [Layer("steel", nm)] * 2, 2 * nm), measures="height")
    heights = [float(rect.attrib["height"]) for rect in plates(root)]
    line = next(line for line in root.iter(f"{SVG}line") if line.attrib["class"] == "thin")
    assert float(line.attrib["y2"]) - float(line.attrib["y1"]) == pytest.approx(sum(heights), abs=0.01)


def test_what_nobody_read_is_drawn_as_not_read() -> None:
    root = drawn(Stack("now", [Layer("steel", length_parse("2 mm")), Layer("spacer", None)], 1_000_000))
    assert "unread" in plates(root)[1].attrib["class"]
    assert "not read" in [text.text for text in root.iter(f"{SVG}text")]


def test_a_drawing_has_a_role_a_title_and_a_description() -> None:
    root = drawn(Stack("now", [Layer("steel", 2_000_000)], 1_000_000))
    assert root.attrib["role"] == "img"
    assert [child.tag for child in root][:2] == [f"{SVG}title", f"{SVG}desc"]


def test_markup_in_a_name_stays_text() -> None:
    root = drawn(Stack("<script>", [Layer('"><b', 2_000_000)], 1_000_000), title="<b>bold & brave</b>")
    assert root.find(f"{SVG}title").text == "<b>bold & brave</b>"  # type: ignore[union-attr]
    assert not list(root.iter(f"{SVG}script")) and not list(root.iter(f"{SVG}b"))


def test_the_window_and_the_figures_share_one_scale() -> None:
    """Limits, target, reading and bars: distances on paper are as the lengths."""
    marks = [Mark("now", length_parse("0.074 in"), 38_100.0, main=True), Mark("1", length_parse("0.0527 in"), 50_000.0)]
    root = ET.fromstring(window_drawing(limits=LIMITS, marks=marks, unit="in", title="W", desc="D"))
    low, high = (float(line.attrib["x1"]) for line in root.iter(f"{SVG}line") if line.attrib["class"] == "limit")
    pixel = (high - low) / (LIMITS.high_nm - LIMITS.low_nm)
    dots = [float(dot.attrib["cx"]) for dot in root.iter(f"{SVG}circle")]
    assert dots == pytest.approx([low + (mark.at_nm - LIMITS.low_nm) * pixel for mark in marks], abs=0.01)
    bar = next(line for line in root.iter(f"{SVG}line") if line.attrib["class"] == "bar main")
    assert float(bar.attrib["x2"]) - float(bar.attrib["x1"]) == pytest.approx(4 * 38_100 * pixel, abs=0.01)


@pytest.mark.parametrize("text", ["0.0001 in", "0.2 in", "30 mm"])
def test_far_figures_stay_on_the_paper(text: str) -> None:
    mark = Mark("now", length_parse(text), 38_100.0)
    root = ET.fromstring(window_drawing(limits=LIMITS, marks=[mark], unit="in", title="W", desc="D"))
    for dot in root.iter(f"{SVG}circle"):
        assert 0 < float(dot.attrib["cx"]) < 400
