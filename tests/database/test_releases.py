"""An upgrade from each release: its backup, restored by the code at hand, is a shop that works."""

from pathlib import Path

import pytest
from django.core.management import call_command
from django.test import Client

from shop import settings as real
from shop.backup import backup_restore
from shop.demo import PEOPLE
from shop.people.models import Person
from tests.api import Api
from tests.conftest import Urls
from tests.releases import PASSWORD, releases


@pytest.mark.parametrize("file", releases(), ids=lambda file: file.stem)
def test_a_shop_of_that_release_goes_on_with_this_one(file: Path, empty: Urls, settings) -> None:
    proof = backup_restore(file)
    assert "shelf and ledger agree" in proof.ledger
    call_command("migrate", check_unapplied=True, verbosity=0)

    settings.PASSWORD_HASHERS = real.PASSWORD_HASHERS
    for username in PEOPLE:
        client = Client()
        answer = client.post("/sign-in/", {"username": username, "password": PASSWORD})
        assert answer.status_code == 302 and client.get("/").status_code == 200, username

    api = Api(Person.objects.get(username="rosa"))
    question = {"spec": "QUERN-DIRECT", "readings": ["0.074 in", "0.0745 in", "0.0735 in"], "method": "feeler"}
    asked = api.post("matches/", {**question, "installed": {"steels": {"nominal": True}}, "job": "J-9001"})
    assert asked.status == 201 and asked.body["options"], asked
    taken = api.post(f"matches/{asked.body['id']}/take/", {"option": 1})
    assert taken.status == 200 and taken.body["slip"], taken
    call_command("ledger_verify")
