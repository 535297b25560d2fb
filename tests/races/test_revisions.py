"""Six revise one pack spec at once: one revision is made, and the others hear who made it."""

from collections import Counter
from typing import Any

import psycopg
import pytest

from plates.catalogue.spec_models import Slot, Spec
from tests.api import Api
from tests.races.conftest import ASK, Crowd
from tests.races.unlocked import unlocked
from tests.service import Call, Reply, Service, serving

pytestmark = pytest.mark.processes


def _body(title: str) -> dict[str, Any]:
    window = {"source": "manual", "low": "0.0050 in", "high": "0.0150 in", "reference": "Bench book, page 4"}
    slots = [
        {"name": slot.name, "role": slot.role, "fit": slot.fit.code, "count": slot.count, "swap": slot.swap}
        for slot in Slot.objects.filter(spec__revision=1).select_related("fit")
    ]
    said = {"title": title, "revision": 1, "reason": f"for {title}"}
    return {**said, "measures": "gap", "window": window, "slots": slots}


def revised_at_once(crowd: Crowd, service: Service) -> list[Reply]:
    calls: list[Any] = [Call("specs/PACK/revise/", _body(f"Title {n}"), f"key-{n}") for n in range(6)]
    return service.at_once(crowd.token, calls)


def test_one_of_six_revises_it_and_the_others_are_told(crowd: Crowd) -> None:
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = revised_at_once(crowd, service)
    assert Counter(reply.status for reply in replies) == {200: 1, 409: 5}
    made = next(reply.body for reply in replies if reply.status == 200)
    for reply in replies:
        assert reply.status == 200 or f"because: “{made['revised']['reason']}”" in reply.body["detail"]
        assert reply.status == 200 or reply.body["code"] == "revised_since"
    assert list(Spec.objects.values_list("revision", "title")) == [(1, "Pack"), (2, made["title"])]
    assert Slot.objects.count() == 4


def test_control_without_the_lock_the_unique_key_alone_refuses_and_cannot_say_who_was_first(crowd: Crowd) -> None:
    with unlocked(crowd.urls, crowd.data_dir, "revise_unlocked", standing=6) as service:
        replies = revised_at_once(crowd, service)
    assert Counter(reply.status for reply in replies) == {200: 1, 409: 5}
    assert not any("because" in reply.body["detail"] for reply in replies if reply.status == 409)


def test_control_without_lock_and_keys_one_revision_is_made_several_times(crowd: Crowd) -> None:
    with psycopg.connect(crowd.urls.owner) as owner:
        owner.execute("ALTER TABLE plates_spec DROP CONSTRAINT spec_revision")
        owner.execute("DROP INDEX spec_code")
    with unlocked(crowd.urls, crowd.data_dir, "revise_unlocked") as service:
        replies = revised_at_once(crowd, service)
    assert Counter(reply.status for reply in replies)[200] > 1
    assert Spec.objects.filter(revision=2).count() > 1


def test_who_asks_meanwhile_does_not_wait(crowd: Crowd) -> None:
    """Asks and revisions at once: each is done, and each ask is of one of the two revisions."""
    crowd.stock("0.0790 in")
    ask = {**ASK, "installed": {"steels": ["0.0700 in"]}}
    calls: list[Any] = [Call("matches/", ask, f"ask-{n}") for n in range(5)]
    calls.insert(2, Call("specs/PACK/revise/", _body("New"), "revise"))
    with serving(crowd.urls, crowd.data_dir) as service:
        replies = service.at_once(crowd.token, calls)
    assert Counter(reply.status for reply in replies) == {201: 5, 200: 1}
    assert {reply.body["revision"] for reply in replies} <= {1, 2}
    assert Api(crowd.owner).get("specs/PACK/").body["revision"] == 2
