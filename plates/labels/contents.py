"""What stands on the label of a bin, a kind, a job or a person, before anybody knows how large it is."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils import timezone

from plates.bench.models import Job
from plates.catalogue.models import Fit, Kind, Role
from plates.lengths import both, inch, mm
from plates.scan_codes import scan_format
from plates.stock.models import Bin, HandOut


@dataclass(frozen=True)
class Content:
    """``head``: the sort of thing, small; ``code``: huge; ``lines``: the most wanted first, since a small label may
    have no room for the last ones; ``write``: lines to fill in by hand; ``scan``: what both symbols carry.
    """

    head: str
    code: str
    scan: str
    lines: Sequence[str]
    write: Sequence[str] = ()


def bin_content(found: Bin, unit: str) -> Content:
    """``unit``: the one that stands first, as in all of these."""
    role = f"{Role(found.role).label}, fit {found.fit.code}"
    spans = [
        f"{inch(found.from_nm)} to below {inch(found.to_nm)} in",
        f"{mm(found.from_nm)} to below {mm(found.to_nm)} mm",
    ]
    lines = [role, *(spans if unit == "in" else spans[::-1]), *_fit_lines(found.fit, unit)]
    return Content("Bin", found.code, scan_format("bin", found.code), lines)


def kind_content(kind: Kind, unit: str) -> Content:
    """The supplier's mark is what the box or the plate itself says."""
    role = f"{Role(kind.role).label}, fit {kind.fit.code}"
    marks = [f"mark {kind.mark}" if kind.mark else "", f"from {kind.supplier.name}" if kind.supplier else ""]
    lined = ["lined on one face"] if kind.lined_faces == 1 else []
    named = ", ".join(mark for mark in marks if mark)
    lines = [role, f"nominal {both(kind.nominal_nm, unit)}", *lined, *([named] if named else [])]
    return Content("Kind", kind.code, scan_format("kind", kind.code), [*lines, *_fit_lines(kind.fit, unit)])


def job_content(job: Job, specs: Sequence[str], opened: str) -> Content:
    """``specs``: the codes of its packs so far; ``opened``: the day."""
    lines = [f"opened {opened}", *([f"packs {', '.join(specs)}"] if specs else [])]
    return Content(
        "Job", job.code, scan_format("job", job.code), lines, ("core tag", "read before", "read after", "built by")
    )


def transfer_content(made: HandOut, count: int) -> Content:
    """What one shop of ours sends to another."""
    day = timezone.localtime(made.at).date().isoformat()
    lines = [f"sent {day} by {made.shop.name}", f"{count} plate{'' if count == 1 else 's'}"]
    return Content("Transfer to", made.to, scan_format("transfer", str(made.pk)), lines)


def badge_content(name: str, role: str, code: str) -> Content:
    """The badge of a person: ``code``, which opens with the PIN, is printed nowhere but in the symbols."""
    return Content("Badge", name, code, [role])


def _fit_lines(fit: Fit, unit: str) -> list[str]:
    teeth = f"{fit.teeth} {fit.get_tooth_side_display()}" if fit.teeth else fit.get_tooth_side_display()
    known = ", ".join(part for part in (teeth, fit.tooth_form, fit.index) if part)
    return [known, f"outer {both(fit.outer_nm, unit)}, inner {both(fit.inner_nm, unit)}"]
