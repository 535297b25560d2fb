"""Shops and their people."""

import hashlib
import secrets

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models.functions import Now

from shop.errors import Forbidden
from shop.rows import SameShop, ShopRow, uuid7


class Shop(models.Model):
    """One shop and its settings."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    name = models.TextField()
    unit_first = models.TextField(choices=[("in", "inch"), ("mm", "millimetre")], default="in")
    #: The probability of landing in the window from which an option is sure.
    sure_level = models.FloatField(default=0.95)
    #: Whether a second person has to agree to what is said of an old plate.
    second_person = models.BooleanField(default=False)
    hold_minutes = models.PositiveIntegerField(default=240)
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
}


class PersonManager(BaseUserManager["Person"]):
    def create_person(self, *, shop: Shop, username: str, password: str | None, role: str) -> "Person":
        person = self.model(shop=shop, username=username, role=role)
        person.set_password(password)
        person.save(using=self._db)
        return person


class Person(AbstractBaseUser):
    """Somebody who signs in. Names are unique over all shops, since the sign-in form asks for nothing else."""

    id = models.UUIDField(primary_key=True, default=uuid7, editable=False)
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, db_index=False, related_name="people")
    username = models.TextField(unique=True)
    role = models.TextField(choices=Role.choices)
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "username"
    objects = PersonManager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["shop", "id"], name="person_shop_id"),
            models.CheckConstraint(condition=models.Q(role__in=Role.values), name="person_role"),
        ]

    def __str__(self) -> str:
        return self.username

    def may(self, right: str) -> bool:
        """Whether this person's role carries one of the :data:`RIGHTS`."""
        return self.role in RIGHTS[right]

    def require(self, right: str) -> None:
        """Raises :class:`Forbidden` when the role does not carry the right."""
        if not self.may(right):
            allowed = " or ".join(sorted(RIGHTS[right]))
            raise Forbidden(f"{self.username} works as {self.role}; {right} is for {allowed}. Ask one of them.")


class Token(ShopRow):
    """An API token. Only its hash is kept: who loses the token makes a new one."""

    person = models.ForeignKey(
        Person, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="tokens"
    )
    sha256 = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(auto_now_add=True)

    class Meta(ShopRow.Meta):
        constraints = [*ShopRow.Meta.constraints, SameShop(field="person", name="token_person")]

    @staticmethod
    def hash_of(text: str) -> str:
        return hashlib.sha256(text.encode()).hexdigest()

    @classmethod
    def make(cls, person: Person) -> str:
        """A new token of this person; the text is shown this once."""
        text = secrets.token_urlsafe(32)
        cls.objects.create(shop_id=person.shop_id, person=person, sha256=cls.hash_of(text))
        return text


class RequestKey(ShopRow):
    """An ``Idempotency-Key`` with the answer that it got, stored in the transaction of its effect."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, db_constraint=False, db_index=False, related_name="+")
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
