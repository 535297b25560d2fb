"""What lies on the bench of a job, as a person is told of it."""

from collections.abc import Iterable
from dataclasses import dataclass

from plates.bench.lying import Lying
from plates.catalogue.models import Role


@dataclass(frozen=True)
class OnBench:
    """Plates of one role that came out of one pack."""

    role: str
    source: str
    thicknesses_nm: list[int]

    @property
    def count(self) -> int:
        return len(self.thicknesses_nm)


def by_pack(lying: Iterable[Lying]) -> list[OnBench]:
    """What lies on the bench of a job, pack by pack."""
    groups: dict[tuple[int, str], list[Lying]] = {}
    for one in lying:
        groups.setdefault((one.number, one.interchange.role), []).append(one)
    return [
        OnBench(Role(role).label, some[0].source, sorted(one.thickness_nm for one in some))
        for (_, role), some in sorted(groups.items())
    ]
