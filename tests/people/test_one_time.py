"""One-time codes by the published figures; each once, five wrong ones, and recovery codes."""

from io import StringIO
from typing import Any
from urllib.parse import unquote

import pytest
from django.core.management import CommandError, call_command
from pyotp import TOTP, parse_uri

from shop.errors import Forbidden, NotFound, WrongState
from shop.people.audit import audit
from shop.people.models import AuditLine, Person
from shop.people.one_time import (
    CodesLocked,
    WrongCode,
    code_check,
    code_turn_off,
    code_turn_on,
    secret_make,
    secret_picture,
)
from tests.factories import PersonFactory
from tests.labels.reading import svg_read
from tests.people.conftest import Badged
from tests.people.conftest import ines as ines

pytestmark = pytest.mark.django_db
#: RFC 6238, appendix B, SHA-1: the ASCII secret 12345678901234567890, the time in seconds, eight digits. Six digits are
#: the last six of them (RFC 4226, 5.3: the same number modulo 10^6).
SEED = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
PUBLISHED = {
    59: "94287082",
    1111111109: "07081804",
    1111111111: "14050471",
    1234567890: "89005924",
    2000000000: "69279037",
    20000000000: "65353130",
}
NOW = 1111111111.0


def code(secret: str, steps: int = 0, at: float = NOW) -> str:
    return TOTP(secret).at(at, counter_offset=steps)


def wrong(secret: str) -> str:
    """Six digits that are no code of these minutes."""
    near = {code(secret, steps) for steps in range(-5, 6)}
    return next(text for text in map("{:06}".format, range(20)) if text not in near)


@pytest.fixture
def coded(owner: Person) -> Person:
    Person.objects.filter(pk=owner.pk).update(totp_secret=SEED)
    owner.refresh_from_db()
    return owner


@pytest.mark.parametrize(("at", "eight"), PUBLISHED.items())
def test_the_published_codes_are_taken_at_their_times(coded: Person, at: int, eight: str) -> None:
    assert code_check(person=coded, text=eight[-6:], at=at) == "code"


def test_a_clock_may_be_off_by_one_step_and_no_more(coded: Person) -> None:
    for steps in (-2, 2):
        with pytest.raises(WrongCode, match="not the code of"):
            code_check(person=coded, text=code(SEED, steps), at=NOW)
    for steps in (-1, 0, 1):
        code_check(person=coded, text=code(SEED, steps), at=NOW)


def test_a_code_is_good_once_and_so_is_every_one_before_it(coded: Person) -> None:
    code_check(person=coded, text=code(SEED), at=NOW)
    for steps in (0, -1):
        with pytest.raises(WrongCode, match="taken before"):
            code_check(person=coded, text=code(SEED, steps), at=NOW)
    code_check(person=coded, text=code(SEED, 1), at=NOW)


def test_blanks_and_hyphens_do_not_matter(coded: Person) -> None:
    six = code(SEED)
    code_check(person=coded, text=f" {six[:3]} {six[3:]}\t", at=NOW)


@pytest.mark.parametrize("text", ["", "12345", "1234567", "١٢٣٤٥٦", "abcdef", "\0" * 6, "9" * 2000])
def test_what_is_no_code_is_wrong_like_any_other(coded: Person, text: str) -> None:
    with pytest.raises(WrongCode):
        code_check(person=coded, text=text, at=NOW)


def test_after_five_wrong_codes_the_right_one_is_not_looked_at(coded: Person) -> None:
    for left in ("4 more tries", "3 more", "2 more", "One more try"):
        with pytest.raises(WrongCode, match=left):
            code_check(person=coded, text=wrong(SEED), at=NOW)
    with pytest.raises(CodesLocked):
        code_check(person=coded, text=wrong(SEED), at=NOW)
    with pytest.raises(CodesLocked):
        code_check(person=coded, text=code(SEED), at=NOW)
    lines = audit(coded.shop_id, sign_ins=True).filter(what="wrong one-time code")
    assert lines.count() == 5  # what is not judged is not written


def test_a_good_code_forgets_the_wrong_ones(coded: Person) -> None:
    for steps in (0, 1):
        for _ in range(4):
            with pytest.raises(WrongCode):
                code_check(person=coded, text=wrong(SEED), at=NOW)
        code_check(person=coded, text=code(SEED, steps), at=NOW)


@pytest.fixture
def recovery(owner: Person) -> list[str]:
    found = code_turn_on(person=owner, secret=SEED, code=code(SEED, -1), at=NOW)
    owner.refresh_from_db()
    return found


def test_a_recovery_code_is_good_once_and_opens_what_wrong_codes_shut(owner: Person, recovery: list[str]) -> None:
    assert len(set(recovery)) == 10 and all(len(one) == 29 for one in recovery)
    for _ in range(5):
        with pytest.raises((WrongCode, CodesLocked)):
            code_check(person=owner, text=wrong(SEED), at=NOW)
    assert code_check(person=owner, text=recovery[3].lower().replace("-", " "), at=NOW) == "recovery code"
    with pytest.raises(WrongCode, match="none of the recovery codes"):
        code_check(person=owner, text=recovery[3], at=NOW)
    assert code_check(person=owner, text=code(SEED), at=NOW) == "code"
    for one in recovery[:3] + recovery[4:]:
        code_check(person=owner, text=one, at=NOW)
    assert Person.objects.get(pk=owner.pk).recovery == []
    used = audit(owner.shop_id).filter(what="recovery code used")
    assert used.count() == 10 and {line.after for line in used} == {f"{left} left" for left in range(10)}


def test_letters_that_no_recovery_code_has_are_read_as_what_was_meant(owner: Person, recovery: list[str]) -> None:
    code_check(person=owner, text=recovery[0].replace("0", "O").replace("1", "l"), at=NOW)


def test_recovery_codes_are_of_their_person(owner: Person, ines: Badged, recovery: list[str]) -> None:
    Person.objects.filter(pk=ines.person.pk).update(totp_secret=secret_make())
    with pytest.raises(WrongCode):
        code_check(person=ines.person, text=recovery[0], at=NOW)


def test_it_is_on_only_when_a_first_code_was_given(owner: Person) -> None:
    with pytest.raises(WrongCode, match="not the code of that secret"):
        code_turn_on(person=owner, secret=SEED, code=wrong(SEED), at=NOW)
    owner.refresh_from_db()
    assert (owner.totp_secret, owner.recovery) == ("", [])
    code_turn_on(person=owner, secret=SEED, code=code(SEED), at=NOW)
    owner.refresh_from_db()
    with pytest.raises(WrongCode, match="taken before"):  # the first code is used up
        code_check(person=owner, text=code(SEED), at=NOW)
    other = secret_make()
    with pytest.raises(WrongState, match="by another secret"):
        code_turn_on(person=owner, secret=other, code=code(other), at=NOW)


def test_the_owner_takes_codes_off_and_nobody_else_does(owner: Person, ines: Badged, recovery: list[str]) -> None:
    with pytest.raises(Forbidden):
        code_turn_off(person=ines.person, username=owner.username)
    with pytest.raises(NotFound):
        code_turn_off(person=PersonFactory.create(), username=owner.username)
    code_turn_on(person=ines.person, secret=SEED, code=code(SEED), at=NOW)
    code_turn_off(person=owner, username="ines")
    person = Person.objects.get(pk=ines.person.pk)
    assert (person.totp_secret, person.recovery, person.sessions_ended) == ("", [], 2)
    line = audit(owner.shop_id).first()
    assert line and (line.person, line.subject, line.what) == (owner, "ines", "one-time codes off")


def test_the_command_is_the_way_out_for_an_owner(owner: Person, recovery: list[str]) -> None:
    call_command("code_off", owner.username, stdout=StringIO())
    line = audit(owner.shop_id).first()
    assert line and (line.what, line.after) == ("one-time codes off", "on the machine")
    for name, said in ((owner.username, "has no one-time codes"), ("nobody", "There is no 'nobody'")):
        with pytest.raises(CommandError, match=said):
            call_command("code_off", name)


def test_no_secret_stands_in_the_audit(owner: Person, recovery: list[str]) -> None:
    code_check(person=owner, text=recovery[0], at=NOW)
    with pytest.raises(WrongCode):
        code_check(person=owner, text=wrong(SEED), at=NOW)
    code_turn_off(person=owner, username=owner.username)
    told = " ".join(map(str, AuditLine.objects.values_list("subject", "what", "before", "after")))
    secrets = [SEED, code(SEED), code(SEED, -1), wrong(SEED), *recovery, *(one.replace("-", "") for one in recovery)]
    assert [one for one in secrets if one in told] == []


def test_the_picture_says_to_an_app_what_the_server_computes(owner: Person) -> None:
    """Drawn by one library and read by another; the app's side is the reader of pyotp."""
    owner.shop.name = "Räder & Söhne: halls 1/2"
    secret = secret_make()
    picture = secret_picture(person=owner, secret=secret).partition(",")[2]
    (read,) = svg_read(unquote(picture).replace("<svg ", '<svg width="400" height="400" ', 1))["QR Code"]
    app: Any = parse_uri(read)
    assert (app.secret, app.name, app.issuer) == (secret, owner.username, "Räder & Söhne: halls 1/2")
    assert (app.digits, app.interval, app.digest().name) == (6, 30, "sha1")
    assert read.startswith("otpauth://totp/")
