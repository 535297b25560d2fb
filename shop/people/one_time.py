"""One-time codes, which an app on somebody's telephone shows, and recovery codes for when it is lost.

RFC 6238 with what every such app does: SHA-1, six digits, a step of 30 s. The server computes the code as the app does,
so it has to be able to read the secret. Six digits are few: five wrong ones in a row, and none is looked at any more. A
recovery code is random and long, so a plain hash keeps it, and it needs no limit: it is the way out of that.
"""

import re
import secrets

import segno
from django.db.models import F, Func, Value
from pyotp import TOTP, random_base32
from pyotp.exceptions import OTPVerificationError

from shop.errors import Refusal, WrongState
from shop.people.audit import WRONG_CODE, audit_write
from shop.people.badges import LETTERS
from shop.people.models import MOST_CODE_TRIES, Person, sha256_of
from shop.people.services import colleague

#: A clock may be off by so many steps, either way (RFC 6238, 5.2).
DRIFT_STEPS = 1
RECOVERY_CODES = 10
#: Twenty-four letters of five bits, shown in fours.
_RECOVERY = re.compile(f"[{LETTERS}]{{24}}")


class WrongCode(Refusal):
    status, code, title = 403, "wrong_code", "This is not the code"


class CodesLocked(Refusal):
    status, code, title = 403, "codes_locked", "No one-time code is looked at any more"


def code_due(person: Person) -> bool:
    """Whether the password alone does not let this person in."""
    return bool(person.totp_secret) or person.shop.code_required


def secret_make() -> str:
    """160 random bits in base32."""
    return random_base32()


def secret_picture(*, person: Person, secret: str) -> str:
    """The secret as apps scan it, a QR Code: an SVG in an address of its own that stands in the page."""
    uri = TOTP(secret).provisioning_uri(name=person.username, issuer_name=person.shop.name)
    return segno.make_qr(uri, error="m").svg_data_uri(border=4, light="#fff", omitsize=True)


def code_turn_on(*, person: Person, secret: str, code: str, at: float) -> list[str]:
    """From now on the password needs a code of this secret; ``code`` is the first, at ``at``, in seconds since 1970.
    Returns the recovery codes, which are never to be had again. Whoever is signed in as this person is out.

    Raises WrongCode, WrongState where codes are on already.
    """
    try:
        step = _step(secret, _plain(code), at)
    except OTPVerificationError:
        raise WrongCode(
            "This is not the code of that secret. Wait for the next one, and let the telephone take its time from the "
            "network: codes go by the time.",
            [("/otp", "type the code that stands there now")],
        ) from None
    codes = ["".join(secrets.choice(LETTERS) for _ in range(24)) for _ in range(RECOVERY_CODES)]
    on = Person.objects.filter(pk=person.pk, totp_secret="").update(
        totp_secret=secret,
        totp_step=step,
        code_wrong=0,
        recovery=[sha256_of(one) for one in codes],
        sessions_ended=F("sessions_ended") + 1,
    )
    if not on:
        raise WrongState("One-time codes are on already, by another secret. Turn them off before you set them up anew.")
    audit_write(person=person, subject=person.username, what="one-time codes on")
    return ["-".join(re.findall("....", one)) for one in codes]


def code_turn_off(*, person: Person, username: str, where: str = "") -> Person:
    """No code is asked of somebody any more, by the person or by the owner; recovery codes are void, and whoever is
    signed in as them is out. Where the shop requires codes the next sign-in sets them up. Raises Forbidden, NotFound.
    """
    found = colleague(person=person, username=username)
    if found != person:
        person.require("people")
    off = (
        Person.objects.filter(pk=found.pk)
        .exclude(totp_secret="")
        .update(totp_secret="", totp_step=0, code_wrong=0, recovery=[], sessions_ended=F("sessions_ended") + 1)
    )
    if off:
        audit_write(person=person, subject=found.username, what="one-time codes off", after=where)
    return found


def code_check(*, person: Person, text: str, at: float) -> str:
    """Take a one-time code, or a recovery code, each good once; returns which it was, in words. Blanks do not matter.

    Each try is counted before it is judged, and of those who send the same good code at once one is let in. Not to be
    called inside a transaction that a refusal would undo: a wrong try has to stay counted.
    Raises WrongCode, CodesLocked.
    """
    plain = _plain(text)
    if _RECOVERY.fullmatch(plain):
        return _recovery_take(person, plain)
    if not person.try_count("code_wrong", MOST_CODE_TRIES):
        raise _locked(person)
    try:
        step = _step(person.totp_secret, plain, at)
    except OTPVerificationError:
        raise _wrong(person, f"This is not the code of {person.username} now.") from None
    if not _step_take(person, step):
        raise _wrong(person, "This code was taken before, and each is good once. Wait for the next one.")
    return "code"


def _plain(text: str) -> str:
    """As typed by whoever sees groups; no letter O, I or L is in a recovery code."""
    return re.sub(r"[\s-]", "", text).upper().translate(str.maketrans("OIL", "011"))


def _step(secret: str, code: str, at: float) -> int:
    """Which step's code it is. Raises OTPVerificationError."""
    return TOTP(secret).verify_and_get_timecode(code, for_time=at, valid_window=DRIFT_STEPS)


def _step_take(person: Person, step: int) -> bool:
    """Take the code of this step; False where it, or a later one, was taken."""
    rows = Person.objects.filter(pk=person.pk, totp_secret=person.totp_secret, totp_step__lt=step)
    return bool(rows.update(totp_step=step, code_wrong=0))


def _recovery_take(person: Person, plain: str) -> str:
    kept = sha256_of(plain)
    rest = Func(F("recovery"), Value(kept), function="array_remove")
    if not Person.objects.filter(pk=person.pk, recovery__contains=[kept]).update(recovery=rest, code_wrong=0):
        if person.try_count("code_wrong", MOST_CODE_TRIES):  # so many are written down, and no more
            audit_write(person=person, subject=person.username, what=WRONG_CODE, after="recovery code")
        raise WrongCode(f"This is none of the recovery codes that {person.username} has left. Each is good once.")
    left = len(Person.objects.values_list("recovery", flat=True).get(pk=person.pk))
    audit_write(person=person, subject=person.username, what="recovery code used", after=f"{left} left")
    return "recovery code"


def _wrong(person: Person, why: str) -> Refusal:
    audit_write(person=person, subject=person.username, what=WRONG_CODE)
    left = MOST_CODE_TRIES - Person.objects.values_list("code_wrong", flat=True).get(pk=person.pk)
    if left <= 0:
        return _locked(person)
    tries = f"{left} more tries" if left > 1 else "One more try"
    return WrongCode(f"{why} {tries}, then no code is looked at.")


def _locked(person: Person) -> CodesLocked:
    return CodesLocked(
        f"{MOST_CODE_TRIES} wrong codes in a row: no more are looked at for {person.username}. A recovery code still "
        "signs in, or the owner takes the codes off. Was it not you, then somebody knows your password: change it."
    )
