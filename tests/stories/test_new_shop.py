"""From nothing to a shop that works, by commands and the API alone: nothing here depends on a demo."""

from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

pytestmark = pytest.mark.django_db


class Terminal:
    """A program with the token that the command printed."""

    def __init__(self, token: str) -> None:
        self.client = Client(HTTP_AUTHORIZATION=f"Token {token}")

    def post(self, path: str, status: int = 201, **body: Any) -> Any:
        answer = self.client.post(f"/api/v1/{path}", body, content_type="application/json")
        assert answer.status_code == status, answer.content
        return answer.json()

    def get(self, path: str, **query: str) -> Any:
        return self.client.get(f"/api/v1/{path}", query).json()


@pytest.fixture
def shop(capsys: pytest.CaptureFixture[str]) -> Terminal:
    call_command("open_shop", "Shed No. 4", owner="wanda")
    capsys.readouterr()
    call_command("token", "wanda")
    (token,) = capsys.readouterr().out.split()
    return Terminal(token)


def test_the_main_job_from_an_empty_shop(shop: Terminal) -> None:
    for path in ("fits/", "kinds/", "specs/", "bins/", "plates/", "matches/", "ledger/"):
        assert shop.get(path)["count"] == 0

    # The catalogue.
    shop.post("fits/", code="DRUM-36", tooth_side="external", teeth=36, outer="5.50 in", inner="4.20 in")
    shop.post("fits/", code="HUB-48", tooth_side="internal", teeth=48, outer="5.35 in", inner="4.10 in")
    for nominal in (70, 77, 84):
        shop.post(
            "kinds/", code=f"S-{nominal}", fit="DRUM-36", role="steel", nominal=f"0.0{nominal} in",
            scan_codes=[f"4000{nominal}"], supplier="Hill & Dale", unit_cost="2.15", pack_size=5,
        )  # fmt: skip
    shop.post("kinds/", code="F-80", fit="HUB-48", role="friction", nominal="0.080 in")
    steels = {"name": "steels", "role": "steel", "fit": "DRUM-36", "count": 5, "swap": True, "nominal": "0.077 in"}
    frictions = {"name": "frictions", "role": "friction", "fit": "HUB-48", "count": 5, "nominal": "0.080 in"}
    spec = shop.post(
        "specs/", code="DIRECT", title="Direct", measures="gap", window={"source": "rule"}, slots=[steels, frictions]
    )
    assert (spec["window"]["low"]["in"], spec["window"]["high"]["in"]) == ("0.0400", "0.0600")

    # The shelf.
    for number in range(4):
        low, high = f"0.0{765 + 10 * number} in", f"0.0{775 + 10 * number} in"
        shop.post("bins/", code=f"B-{14 + number}", fit="DRUM-36", role="steel", **{"from": low, "to": high})
    one = shop.post("plates/", scan_code="400077", readings=["0.0771 in", "0.0770 in", "0.0772 in"])
    assert (one["bin"], one["thickness"]["in"], one["warnings"]) == ("B-14", "0.0771", [])
    lot = shop.post("lots/", kind="S-77", count=8, readings=[[f"0.077{n} in"] for n in (0, 1, 1, 0, 2)])
    assert len(lot["plates"]) == 8
    assert shop.get("plates/", bin="B-14", state="on_shelf")["count"] == 9

    # The pack: five frictions, reads .074, and wants .040 to .060.
    asked = shop.post(
        "matches/", spec="DIRECT", readings=["0.074 in", "0.0735 in", "0.0745 in"], method="feeler", job="J-1182",
        installed={"steels": ["0.0698 in", "0.0699 in", "0.0700 in", "0.0701 in", "0.0702 in"]},
    )  # fmt: skip
    assert (asked["number"], asked["state"], asked["verdict"], asked["job"]) == (1, "open", "high", "J-1182")
    best = asked["options"][0]
    assert best["confidence"] == "sure" and best["changes"] == 3
    taken = shop.post(f"matches/{asked['id']}/take/", 200, option=best["number"])
    assert (taken["state"], len(taken["slip"])) == ("taken", 3)
    assert {row["bin"] for row in taken["slip"]} == {"B-14"}

    # It came out as predicted, and the ledger says where every plate is.
    predicted = best["predicted"]["in"]
    closed = shop.post(f"matches/{asked['id']}/final/", 200, readings=[f"{predicted} in"] * 3, method="feeler")
    assert closed["state"] == "closed" and abs(closed["residual"]["nm"]) < 2540
    lines = shop.get("ledger/", job="J-1182")["results"]
    assert sorted(line["plate"] for line in lines) == sorted(row["plate"] for row in taken["slip"])
    assert {(line["act"], line["delta"], line["person"]) for line in lines} == {("taken", -1, "wanda")}
    assert shop.get("plates/", state="on_shelf")["count"] == 6
    assert shop.get("ledger/")["count"] == 12
    call_command("ledger_verify")


def test_a_second_shop_beside_it_is_its_own(shop: Terminal, capsys: pytest.CaptureFixture[str]) -> None:
    shop.post("fits/", code="DRUM-36", tooth_side="external", teeth=36, outer="5.50 in", inner="4.20 in")
    call_command("open_shop", "The other", owner="xaver")
    capsys.readouterr()
    call_command("token", "xaver")
    other = Terminal(capsys.readouterr().out.strip())
    assert other.get("fits/")["count"] == 0
    other.post("fits/", code="DRUM-36", tooth_side="external", teeth=36, outer="5.50 in", inner="4.20 in")


def test_the_commands_say_what_is_wrong(shop: Terminal) -> None:
    with pytest.raises(CommandError, match="wanda"):
        call_command("open_shop", "Again", owner="wanda")
    with pytest.raises(CommandError, match="nobody"):
        call_command("token", "nobody")
