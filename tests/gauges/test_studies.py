"""Gauge studies as they are stored, shown and said in plain words."""

from typing import Any

import pytest

from plates.measuring.studies import Study
from plates.measuring.study_words import study_words
from tests.api import Api
from tests.gauges.test_api import study_body

#: Published study data of 10 parts, 3 people, 3 trials: AIAG, Measurement Systems Analysis, 4th edition. Each line is
#: one trial of one person.
PUBLISHED = """
0.29 -0.56 1.34 0.47 -0.80 0.02 0.59 -0.31 2.26 -1.36
0.41 -0.68 1.17 0.50 -0.92 -0.11 0.75 -0.20 1.99 -1.25
0.64 -0.58 1.27 0.64 -0.84 -0.21 0.66 -0.17 2.01 -1.31
0.08 -0.47 1.19 0.01 -0.56 -0.20 0.47 -0.63 1.80 -1.68
0.25 -1.22 0.94 1.03 -1.20 0.22 0.55 0.08 2.12 -1.62
0.07 -0.68 1.34 0.20 -1.28 0.06 0.83 -0.34 2.19 -1.50
0.04 -1.38 0.88 0.14 -1.46 -0.29 0.02 -0.46 1.77 -1.49
-0.11 -1.13 1.09 0.20 -1.07 -0.67 0.01 -0.56 1.45 -1.77
-0.15 -0.96 0.67 0.11 -1.45 -0.49 0.21 -0.49 1.87 -2.16
"""


def published() -> dict[str, Any]:
    """The published data as lengths: a study does not feel it when ten millimetres are added to every reading."""
    rows = [[f"{float(text) + 10:.2f} mm" for text in line.split()] for line in PUBLISHED.strip().splitlines()]
    return {
        "gauge": "MIC-1",
        "people": ["A", "B", "C"],
        "plates": [str(n) for n in range(1, 11)],
        "readings": [rows[0:3], rows[3:6], rows[6:9]],
    }


@pytest.fixture
def mic(api: Api) -> None:
    api.post("gauges/", {"code": "MIC-1", "type": "micrometer"})


@pytest.mark.django_db
def test_the_published_study_through_the_api(api: Api, mic: None) -> None:
    """Average and range: EV 0.2019, AV 0.2297, GRR 0.3058, PV 1.1046, TV 1.1461, 5 categories (computed from the
    published data). Analysis of variance: EV 0.199933, AV 0.226838, GRR 0.302373, PV 1.042327 (independent library).
    """
    reply = api.post("gauge-studies/", published())
    assert reply.status == 201
    by_range, by_variance = (reply.body["results"][name] for name in ("average_and_range", "analysis_of_variance"))
    names = ("equipment", "appraiser", "gauge", "part", "total")
    assert [by_range[name]["nm"] / 1e6 for name in names] == pytest.approx(
        [0.2019, 0.2297, 0.3058, 1.1046, 1.1461], abs=2e-4  # the printed constants have four places
    )
    assert by_range["categories"] == 5
    assert [by_variance[name]["nm"] / 1e6 for name in names[:4]] == pytest.approx(
        [0.199933, 0.226838, 0.302373, 1.042327], abs=1.5e-6
    )
    assert "27% of the spread" in by_range["words"][0] and "5 sizes" in by_range["words"][1]
    assert by_range["words"][2].startswith("It will do.") and "people differ more" in by_range["words"][2]
    assert api.get(f"gauge-studies/{reply.body['id']}/").body == reply.body
    assert reply.body["readings"][0][0][0] == "10.29 mm" and reply.body["trials"] == 3


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"people": ["A"]}, "/people"),
        ({"people": ["A", "A"]}, "/people"),
        ({"people": ["A", "B", "C"]}, "/readings"),
        ({"plates": ["1"]}, "/plates"),
        ({"plates": ["1", "2"]}, "/readings/0/0"),
        ({"readings": [[["1 in", "1 in", "1 in"]]] * 2}, "/readings/0"),
        ({"readings": [[["1 in"] * 3] * 2, [["1 in"] * 3] * 3]}, "/readings/1"),
        ({"readings": [[["1 in"] * 3] * 2, [["1 in"] * 3, ["1 in"] * 2]]}, "/readings/1/1"),
    ],
)
def test_a_study_that_is_not_whole(api: Api, mic: None, change: dict[str, Any], pointer: str) -> None:
    reply = api.post("gauge-studies/", study_body("MIC-1", **change))
    assert (reply.status, reply.code) == (422, "bad_study")
    assert reply.body["errors"][0]["pointer"] == pointer
    assert api.get("gauge-studies/").body["count"] == 0


def study(equipment: float, appraiser: float, part: float) -> Study:
    gauge = (equipment**2 + appraiser**2) ** 0.5
    return Study(equipment, appraiser, gauge, part, (gauge**2 + part**2) ** 0.5)


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (study(1e3, 1e3, 1e5), "Good for this work"),
        (study(2e4, 1e3, 1e5), "the gauge does not repeat"),
        (study(1e3, 2e4, 1e5), "people differ more than the gauge"),
        (study(1e5, 1e3, 1e5), "Not good enough"),
        (study(0, 0, 0), "too few places"),
        (study(0, 0, 1e5), "too few places"),
        (study(1e5, 1e3, 0), "100% of the spread"),
    ],
)
def test_plain_words(one: Study, said: str) -> None:
    assert said in " ".join(study_words(one))
