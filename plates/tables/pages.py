"""Tables in and out at the counter: a file is checked first, then written whole by one press, or not at all.

Between check and press nothing is kept, neither on disk nor in the database: the browser sends the file again, and what
was checked is known by its hash, signed for this person.
"""

import hashlib

from django.core import signing
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, resolve_url
from django.utils.http import urlencode
from django.views.decorators.http import require_GET, require_http_methods

from plates.tables.columns import SORTS, Sort
from plates.tables.decoding import MOST_BYTES, TableRefused
from plates.tables.export import TOLD_ANEW, export
from plates.tables.services import Checked, RowsRefused, table_check, table_write
from shop.once import Answer, Once
from shop.web import PageRequest, act, forbidden, key_new, page, shown

#: So many problems, lots and warnings are listed; the rest is counted.
LISTED = 100
SALT, CHECKED_FOR_SECONDS = "plates.tables", 24 * 60 * 60


def _sort(name: str) -> Sort:
    if name not in SORTS:
        raise Http404(f"There are no tables of {name!r}.")
    return SORTS[name]


@require_GET
@page
def tables(request: PageRequest) -> HttpResponse:
    return redirect("import", next(iter(SORTS)))


@require_GET
@page
def download(request: PageRequest, name: str) -> StreamingHttpResponse:
    sort = _sort(name)
    headers = {"Content-Disposition": f'attachment; filename="{sort.name}.csv"'}
    return StreamingHttpResponse(
        export(request.user.shop, sort), content_type="text/csv; charset=utf-8", headers=headers
    )


@require_http_methods(["GET", "POST"])
@page
def upload(request: PageRequest, name: str) -> HttpResponse:
    """Look what a file would do; with *write*, do what was looked at."""
    sort = _sort(name)
    if request.method == "GET":
        return _page(request, sort, written=request.GET.get("written", ""))
    try:
        content = _content(request)
        if "write" in request.POST:
            _same_as_checked(request, sort, content)
            return act(request, lambda once: once.run(lambda: _write(once, sort, content), lambda made: _to(made)))
        return _page(request, sort, content, table_check(person=request.user, sort=sort, content=content))
    except RowsRefused as refusal:
        return _page(request, sort, content, refusal.checked, refused=refusal.detail)
    except TableRefused as refusal:
        return _page(request, sort, refused=refusal.detail)


def _write(once: Once, sort: Sort, content: bytes) -> Checked:
    return table_write(person=once.person, sort=sort, content=content, made_key=once.made_key)


def _to(made: Checked) -> Answer:
    return Answer(303, {"to": f"{resolve_url('import', made.sort.name)}?{urlencode({'written': made.rows})}"})


def _content(request: PageRequest) -> bytes:
    """What the file holds. Raises TableRefused."""
    file = request.FILES.get("file")
    if isinstance(file, UploadedFile):
        return file.read()
    if int(request.META.get("CONTENT_LENGTH") or 0) > MOST_BYTES:
        raise TableRefused(f"The file is larger than {MOST_BYTES // 1_000_000} MB. Send it in parts.")
    raise TableRefused("Choose a file first.")


def _seal(request: PageRequest, sort: Sort, content: bytes) -> str:
    said = [str(request.user.pk), sort.name, hashlib.sha256(content).hexdigest()]
    return signing.dumps(said, salt=SALT)


def _same_as_checked(request: PageRequest, sort: Sort, content: bytes) -> None:
    """Raises TableRefused when this person did not check just this content for this table within a day."""
    try:
        checked = signing.loads(request.POST.get("checked", ""), salt=SALT, max_age=CHECKED_FOR_SECONDS)
    except signing.BadSignature:
        raise TableRefused("Nothing was written: this file was not checked today. Check it first.") from None
    if checked != [str(request.user.pk), sort.name, hashlib.sha256(content).hexdigest()]:
        raise TableRefused("Nothing was written: this is not the file that was checked. Check it again.")


def _page(
    request: PageRequest,
    sort: Sort,
    content: bytes = b"",
    checked: Checked | None = None,
    *,
    refused: str = "",
    written: str = "",
) -> HttpResponse:
    good = checked and not checked.problems
    context = {
        "sort": sort,
        "sorts": SORTS.values(),
        "told_anew": TOLD_ANEW,
        "megabytes": MOST_BYTES // 1_000_000,
        "checked": checked,
        "problems": checked.problems[:LISTED] if checked else [],
        "more_problems": max(0, len(checked.problems) - LISTED) if checked else 0,
        "warnings": list(checked.warnings.items())[:LISTED] if checked else [],
        "more_warnings": max(0, len(checked.warnings) - LISTED) if checked else 0,
        "lots": list(checked.lots.items())[:LISTED] if checked else [],
        "more_lots": max(0, len(checked.lots) - LISTED) if checked else 0,
        "bad": checked.rows - checked.good if checked else 0,
        "refused": refused,
        "written": written if written.isascii() and written.isdigit() and len(written) < 7 else "",
        "seal": _seal(request, sort, content) if good else "",
        "key": key_new(),
        "forbidden": forbidden(request.user, sort.right),
    }
    template = "plates/import_checked.html" if request.htmx else "plates/import.html"
    return shown(request, template, context)
