"""Shops, their people, and the terminals that they work at."""

import hashlib
import logging
import secrets
import uuid
from datetime import datetime, timedelta

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.contrib.postgres.fields import ArrayField
from django.db import models
from django.db.models.functions import Now
from django.utils import timezone
from django.utils.crypto import salted_hmac

from shop.errors import CodeTaken, Forbidden, constraint
from shop.links import Link
from shop.rows import SameShop, ShopRow, uuid7

_log = logging.getLogger("shop.refused")


class Shop(models.Model):
    """One shop and its settings."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    name = models.TextField()
    unit_first = models.TextField(choices=[("in", "inch"), ("mm", "millimetre")], default="in")
    #: The probability of landing in the window from which an option is sure.
    sure_level = models.FloatField(default=0.95)
    #: Whether a second person has to agree to what is said of an old plate.
    second_person = models.BooleanField(default=False)
    #: Whether who signs in by password has to give a one-time code, too. Who has set one up is always asked for it.
    code_required = models.BooleanField(default=False, db_default=False)
    hold_minutes = models.PositiveIntegerField(default=240)
    #: So long nobody does anything, then a page asks who is there.
    lock_minutes = models.PositiveIntegerField(default=10)
    #: Points of one pack may spread over this much, or a quarter of the window's width, whichever is more.
    spread_nm = models.PositiveIntegerField(default=76_200)
    #: Starting standard uncertainties (common practice, no source): of a pack reading by each method, what a single
    #: reading and a wave translation add, and each plate that goes out or in: its micrometer, and being stacked.
    u_feeler_nm = models.PositiveIntegerField(default=38_100)
    u_indicator_nm = models.PositiveIntegerField(default=25_400)
    u_depth_nm = models.PositiveIntegerField(default=35_560)
    u_air_nm = models.PositiveIntegerField(default=50_800)
    u_single_nm = models.PositiveIntegerField(default=25_400)
    u_wave_nm = models.PositiveIntegerField(default=38_100)
    u_micrometer_nm = models.PositiveIntegerField(default=5_080)
    u_stacked_nm = models.PositiveIntegerField(default=12_700)
    #: Set for the invented demo shop only; /healthz waits until it is filled.
    is_demo = models.BooleanField(default=False)
    demo_ready = models.BooleanField(default=False)

    def __str__(self) -> str:
        return self.name


class Role(models.TextChoices):
    BENCH = "bench", "bench"
    COUNTER = "counter", "counter"
    BUYER = "buyer", "buyer"
    OWNER = "owner", "owner"


#: Who may write what. Everybody reads everything of the own shop.
RIGHTS = {
    "stock": {Role.BENCH, Role.COUNTER, Role.OWNER},
    "matches": {Role.BENCH, Role.COUNTER, Role.OWNER},
    "gauges": {Role.BENCH, Role.COUNTER, Role.OWNER},
    "catalogue": {Role.BUYER, Role.OWNER},
    "buying": {Role.BUYER, Role.OWNER},
    "overrides": {Role.OWNER},
    "people": {Role.OWNER},
    "settings": {Role.OWNER},
}
#: So many wrong PINs in a row and the badge is locked.
MOST_PIN_TRIES = 5
#: So many wrong one-time codes in a row and only a recovery code is looked at.
MOST_CODE_TRIES = 5
#: So long somebody may sign in with a password that somebody else chose.
GIVEN_DAYS = 7
#: So long a token of the API is good when nobody says otherwise.
TOKEN_DAYS = 365
constraint("shop_person_username_key", CodeTaken, "Somebody has this name already. Names are unique; choose another.")


def sha256_of(secret: str) -> str:
    """What is kept of a long random secret: a token of the API or of a terminal, the code of a badge."""
    return hashlib.sha256(secret.encode()).hexdigest()


class PersonManager(BaseUserManager["Person"]):
    def create_person(
        self, *, shop: Shop, username: str, password: str | None, role: str, given: bool = False
    ) -> "Person":
        person = self.model(shop=shop, username=username, role=role)
        person.set_password(password, given=given)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Somebody who signs in. Names are unique over all shops, since the sign-in form asks for nothing else."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, db_index=False, related_name="people")
    username = models.TextField(unique=True)
    role = models.TextField(choices=Role.choices)
    is_active = models.BooleanField(default=True)
    #: The hash of the code on the badge, and of the PIN that goes with it; wrong PINs since the last good sign-in.
    badge_sha256 = models.CharField(max_length=64, null=True, unique=True)
    badge_made_at = models.DateTimeField(null=True)
    pin = models.CharField(max_length=128, blank=True, default="")
    pin_wrong = models.PositiveSmallIntegerField(default=0)
    #: So often the owner has ended all sessions of this person.
    sessions_ended = models.PositiveIntegerField(default=0, db_default=0)
    #: When somebody else chose the password that this person has; None once it is the own.
    password_given_at = models.DateTimeField(null=True)
    #: What one-time codes are made of (base32), in the clear, since the server has to compute them; empty: there are
    #: none. The step of the last code taken, wrong codes since, and hashes of the recovery codes that are left.
    totp_secret = models.CharField(max_length=32, blank=True, default="", db_default="")
    totp_step = models.BigIntegerField(default=0, db_default=0)
    code_wrong = models.PositiveSmallIntegerField(default=0, db_default=0)
    recovery = ArrayField(models.CharField(max_length=64), default=list, db_default=[])

    #: Where this person stands, set for the time of a request; no column, what is written carries it.
    at_terminal: "Terminal | None" = None

    USERNAME_FIELD = "username"
    objects = PersonManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["shop", "id"], name="person_shop_id"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="person_role"),
            models.CheckConstraint(condition=models.Q(pin_wrong__lte=MOST_PIN_TRIES), name="person_pin_wrong"),
        ]

    def __str__(self) -> str:
        return self.username

    @property
    def terminal_id(self) -> uuid.UUID | None:
        """The terminal of what this person does now, None where there is none."""
        return self.at_terminal.pk if self.at_terminal else None

    @property
    def badge_locked(self) -> bool:
        return self.pin_wrong >= MOST_PIN_TRIES

    @property
    def password_ends_at(self) -> datetime | None:
        """When a password that somebody else chose opens nothing any more; None for one's own."""
        return self.password_given_at and self.password_given_at + timedelta(days=GIVEN_DAYS)

    def set_password(self, raw_password: str | None, *, given: bool = False) -> None:
        """``given``: somebody else chose it. What changepassword sets at the machine counts as the own."""
        super().set_password(raw_password)
        self.password_given_at = timezone.now() if given else None

    def check_password(self, raw_password: str | None) -> bool:
        given_at = self.password_given_at
        right = super().check_password(raw_password)
        self.password_given_at = given_at  # an old hash that is renewed is still the same password
        return right

    def get_session_auth_hash(self) -> str:
        """What a session has to know: it ends with the password, and when the owner ends it."""
        known = f"{self.password} {self.sessions_ended}"
        return salted_hmac("shop.people.session", known, algorithm="sha256").hexdigest()

    def try_count(self, column: str, most: int) -> bool:
        """Count one more try in ``pin_wrong`` or ``code_wrong``; False when there were ``most`` of them. One statement:
        tries at once wait for each other's row.
        """
        rows = Person.objects.filter(pk=self.pk, **{f"{column}__lt": most})
        return bool(rows.update(**{column: models.F(column) + 1}))

    def pin_opened(self) -> str:
        """What a session has to know that a PIN opened: it ends with the PIN."""
        return salted_hmac("shop.people.pin", self.pin, algorithm="sha256").hexdigest()

    def may(self, right: str) -> bool:
        """Whether this person's role carries one of the :data:`RIGHTS`."""
        return self.role in RIGHTS[right]

    def refusal(self, right: str) -> Forbidden | None:
        """Why the role does not carry the right, where it does not."""
        if self.may(right):
            return None
        allowed = " or ".join(sorted(RIGHTS[right]))
        return Forbidden(f"{self.username} works as {self.role}; {right} is for {allowed}. Ask one of them.")

    def require(self, right: str) -> None:
        """Raises :class:`Forbidden` when the role does not carry the right. Who tried stands in the log."""
        if refusal := self.refusal(right):
            said = {"person": str(self.pk), "shop": str(self.shop_id), "role": self.role, "right": right}
            _log.info("refused", extra={"said": said})
            raise refusal


class Token(ShopRow):
    """An API token. Only its hash is kept: who loses the token makes a new one."""

    person = Link(Person, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="tokens")
    sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)
    ends_at = models.DateTimeField(db_default=Now() + timedelta(days=TOKEN_DAYS))

    class Meta(ShopRow.Meta):
        constraints = [*ShopRow.Meta.constraints, SameShop(field="person", name="token_person")]

    @classmethod
    def make(cls, person: Person, days: int = TOKEN_DAYS) -> str:
        """A new token of this person, good for so many days; the text is shown this once."""
        text, ends_at = secrets.token_urlsafe(32), Now() + timedelta(days=days)
        cls.objects.create(shop_id=person.shop_id, person=person, sha256=sha256_of(text), ends_at=ends_at)
        return text


class RequestKey(ShopRow):
    """An ``Idempotency-Key`` with the answer that it got, stored in the transaction of its effect."""

    person = Link(Person, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="+")
    key = models.TextField()
    fingerprint = models.CharField(max_length=64)
    status = models.PositiveSmallIntegerField(null=True)
    answer = models.JSONField(null=True)
    made_at = models.DateTimeField(db_default=Now())

    class Meta(ShopRow.Meta):
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="person", name="requestkey_person"),
            models.UniqueConstraint(fields=["shop", "person", "key"], name="requestkey_once"),
        ]
        indexes = [models.Index(fields=["shop", "made_at"], name="requestkey_made_at")]


class Counter(ShopRow):
    """The last short number given out, per shop and sort of thing. Locked last of all."""

    name = models.TextField()
    value = models.BigIntegerField()

    class Meta(ShopRow.Meta):
        constraints = [
            *ShopRow.Meta.constraints,
            models.UniqueConstraint(fields=["shop", "name"], name="counter_once"),
        ]


class Terminal(ShopRow):
    """A browser that the owner has enrolled. It carries a token in a cookie; only the token's hash is kept."""

    code = models.TextField()
    sha256 = models.CharField(max_length=64, unique=True)
    enrolled_by = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    enrolled_at = models.DateTimeField(db_default=Now())
    ended_at = models.DateTimeField(null=True)

    class Meta(ShopRow.Meta):
        ordering = ["code"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="enrolled_by", name="terminal_enrolled_by"),
            models.UniqueConstraint(
                fields=["shop", "code"],
                name=constraint("terminal_code", CodeTaken, "A terminal had this name already. Choose another."),
            ),
        ]

    def __str__(self) -> str:
        return self.code


class AuditLine(ShopRow):
    """One change of people, terminals or settings. The database lets this table only grow."""

    person = Link(Person, on_delete=models.PROTECT, db_constraint=False, db_index=False, related_name="+")
    terminal = Link(
        Terminal, on_delete=models.PROTECT, null=True, db_constraint=False, db_index=False, related_name="+"
    )
    at = models.DateTimeField(db_default=Now())
    #: What was changed (a person, a terminal, the settings), what of it, and from what to what; never a secret.
    subject = models.TextField()
    what = models.TextField()
    before = models.TextField(blank=True, default="")
    after = models.TextField(blank=True, default="")

    class Meta(ShopRow.Meta):
        ordering = ["-at", "-id"]
        constraints = [
            *ShopRow.Meta.constraints,
            SameShop(field="person", name="audit_person"),
            SameShop(field="terminal", name="audit_terminal"),
        ]
        indexes = [models.Index(fields=["shop", "-at", "-id"], name="audit_in_time")]
