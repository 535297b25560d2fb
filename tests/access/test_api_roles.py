"""Each POST of the API by each role: done, or refused as the table of the contract says, with nothing changed."""

import pytest

from tests.access.api_calls import POSTS, ROLES
from tests.access.conftest import Two, filled, rows, undone
from tests.api import Api

pytestmark = pytest.mark.django_db


def test_each_call_by_each_role(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = []
    for role in ROLES:
        api = Api(two.of_role(role))
        for call in POSTS:
            before = rows()
            with undone():
                reply = api.post(filled(call.path, two.mine), filled(call.body, two.mine))
                done = reply.status in (200, 201)
                refused = (reply.status, reply.code if not done else "") == (403, "wrong_role") and rows() == before
                if not (done if role in call.may else refused):
                    wrong.append((role, call.path, reply))
    with capsys.disabled():
        print(f"\n{len(POSTS)} calls by {len(ROLES)} roles")
    assert wrong == [], "\n".join(map(str, wrong))


def test_without_a_token_nothing_is_said(two: Two) -> None:
    """Not even whether what is named is there."""
    stranger = Api(two.owner)
    stranger.token = "x"
    for call in POSTS:
        reply = stranger.post(filled(call.path, two.mine), filled(call.body, two.mine))
        assert (reply.status, reply.code) == (401, "unauthenticated"), call.path
