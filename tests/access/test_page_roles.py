"""Each form of the pages by each role: done, or refused as the table of the contract says, with nothing changed."""

import pytest

from tests.access.api_calls import BUYING, OWNER, ROLES
from tests.access.conftest import Two, contents, filled, undone
from tests.access.page_calls import BUYERS, OPENED, OWNERS, SENT, Sent
from tests.access.windows import Answer, Window
from tests.pages.counter import Forms

pytestmark = pytest.mark.django_db


def refused(answer: Answer, role: str) -> bool:
    """By the page of a refusal, or by the words of one beside the form."""
    return answer.status == 403 or (answer.status == 200 and f"works as {role}; " in answer.text)


def wrong_with(call: Sent, role: str, two: Two, window: Window) -> str:
    before = contents()
    answer = window.send(filled(call.path, two.mine), filled(call.fields, two.mine))
    changed, said = contents() != before, refused(answer, role)
    good = (
        answer.status in (200, 302, 303) and not said and changed == call.writes
        if role in call.may
        else said and not changed
    )
    return "" if good else f"{role} {call.path} {answer.status} {answer.to} changed: {changed}\n{answer.text[-3000:]}"


def test_each_form_by_each_role(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = []
    for role in ROLES:
        window = Window(two.of_role(role))
        for call in SENT:
            with undone():
                if said := wrong_with(call, role, two, window):
                    wrong.append(said)
    with capsys.disabled():
        print(f"\n{len(SENT)} forms by {len(ROLES)} roles")
    assert wrong == [], "\n".join(wrong)


def test_each_page_by_each_role(two: Two, capsys: pytest.CaptureFixture[str]) -> None:
    """The owner's pages are the owner's, the figures are for who buys, and everything else is for everybody."""
    wrong = []
    for role in ROLES:
        window = Window(two.of_role(role))
        for template in OPENED:
            answer = window.get(filled(template, two.mine))
            may = role in BUYING if template in BUYERS else role == OWNER or template not in OWNERS
            # What the form on a page would be refused is said there, too; a page that is not theirs says only that.
            nothing = refused(answer, role) and told_only_why(answer)
            if not (answer.status in (200, 302) if may else nothing):
                wrong.append((role, template, answer))
    with capsys.disabled():
        print(f"\n{len(OPENED)} pages by {len(ROLES)} roles")
    assert wrong == [], "\n".join(map(str, wrong))


def told_only_why(answer: Answer) -> bool:
    """Of a page that is not theirs: nothing is to be sent from there but what stands on every page."""
    actions = {form["action"] for form in Forms(answer.text).forms}
    return actions <= {"/find/", "/sign-out/", "/change-person/"}
