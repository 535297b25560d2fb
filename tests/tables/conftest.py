"""A shop with one fit, a kind and a bin, and a person who sends tables."""

from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from shop.people.models import Person
from tests.factories import BinFactory, FitFactory, KindFactory
from tests.pages.counter import Counter


@pytest.fixture(autouse=True)
def catalogue(owner: Person) -> None:
    fit = FitFactory.create(shop=owner.shop, code="DRUM")
    KindFactory.create(fit=fit, code="S-77")
    BinFactory.create(fit=fit, code="B-14")


class Desk(Counter):
    """Sends files; of what came back without its write button nothing can be written."""

    def check(self, sort: str, content: bytes | str, **more: Any) -> str:
        self.content = content.encode() if isinstance(content, str) else content
        self.sort = sort
        return self.post(f"/import/{sort}/", {"file": self.file(), **more})

    def file(self) -> SimpleUploadedFile:
        return SimpleUploadedFile("table.csv", self.content)

    def write(self, content: bytes | None = None) -> str:
        fields = {**self.form()["fields"], "write": "1"}
        self.content = self.content if content is None else content
        return self.post(f"/import/{self.sort}/", {**fields, "file": self.file()})

    def export(self, sort: str) -> bytes:
        return b"".join(self.client.get(f"/export/{sort}.csv").streaming_content)


@pytest.fixture
def desk(owner: Person) -> Desk:
    return Desk(owner)
