"""A pack with a wave plate says how it was read, and the reading is brought to the convention of the window."""

import pytest

from plates.bench.models import Match
from plates.catalogue.specs import Convention, SlotData, spec_make
from plates.catalogue.windows import window_manual
from plates.lengths import length_parse
from tests.pages.conftest import Bench
from tests.pages.counter import Counter

pytestmark = pytest.mark.django_db
AT = "/close-a-pack/WAVED/"


@pytest.fixture
def waved(bench: Bench) -> Counter:
    steels, frictions = (slot.fit for slot in bench.spec.slots.all())
    slots = [
        SlotData("steels", "steel", steels, 5, swap=True, nominal_nm=length_parse("0.077 in")),
        SlotData("frictions", "friction", frictions, 5, lined_faces=2, nominal_nm=length_parse("0.080 in")),
        SlotData("wave", "wave", steels, 1, nominal_nm=length_parse("0.060 in")),
    ]
    spec_make(
        person=bench.owner,
        code="WAVED",
        title="Waved",
        measures="gap",
        window=window_manual(low="0.040 in", high="0.060 in", reference="Invented manual, p. 7"),
        slots=slots,
        wave_nm=(length_parse("0.090 in"), length_parse("0.060 in")),
        reads=Convention(wave="free"),
    )
    counter = Counter(bench.owner)
    counter.open(AT)
    return counter


@pytest.mark.parametrize(
    ("state", "free", "clearance"),
    [
        # free = flat - (free height - flat thickness): 0.080 - (0.090 - 0.060) = 0.050 in, by hand.
        ("flat", "", "Clearance 0.0500 in"),
        # This wave plate's own free height beats the catalogue's: 0.080 - (0.095 - 0.060) = 0.045 in, by hand.
        ("flat", ".095", "Clearance 0.0450 in"),
        ("free", "", "Clearance 0.0800 in"),
    ],
)
def test_the_wave_state_is_asked_and_translated(waved: Counter, state: str, free: str, clearance: str) -> None:
    assert waved.form(AT)["fields"]["wave_state"] == ["free"]
    text = waved.send(AT, {"reading": "80 80", "wave_state": state, "wave_free": free, "go": "ask"})
    assert clearance in text


def test_a_free_height_that_is_no_length_is_said_beside_its_field(waved: Counter) -> None:
    text = waved.send(AT, {"reading": "80 80", "wave_free": "tall", "go": "ask"})
    assert "is not a reading" in text
    assert 'aria-describedby="id_wave_free_error"' in waved.html


@pytest.mark.parametrize(("state", "clearance"), [("flat", "0.050 in"), ("free", "0.080 in")])
def test_the_final_check_asks_for_the_wave_state_and_translates_it(waved: Counter, state: str, clearance: str) -> None:
    """Read at .080: flat that is .080 - (.090 - .060) = .050, by hand; free it is out of the window."""
    waved.send(AT, {"reading": "50 50", "wave_state": "free", "go": "ask"})
    assert waved.form("/final/")["fields"]["wave_state"] == ["free"]
    waved.send("/final/", {"reading": "80 80", "wave_state": state})
    assert waved.form("/final/")["fields"]["wave_state"] == [state]
    waved.send("/final/")
    match = Match.objects.get()
    assert match.state == ("closed" if state == "flat" else "open")
    assert match.final_checks.get().clearance_nm == length_parse(clearance)
