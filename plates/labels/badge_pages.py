"""The badge of a person as a label, for the owner, as long as its code is on the page that made it."""

from django.db import transaction
from django.http import HttpResponse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_POST

from plates.labels.contents import badge_content
from plates.labels.layout import has_bars, label_of
from plates.labels.pdf import labels_pdf
from plates.labels.sheets import SINGLES
from plates.labels.svg import label_svg
from shop.people.badges import badge_print
from shop.people.pages import owners_page
from shop.web import PageRequest, shown


@sensitive_post_parameters("badge")
@require_POST
@owners_page
def badge_label(request: PageRequest, username: str) -> HttpResponse:
    """The label in each size, to look at and print; with a size named in ``pdf``, that one as PDF.

    The code comes by POST alone: it stands in no address, and nothing keeps it.
    """
    code = request.POST.get("badge", "").strip().upper()
    with transaction.atomic():
        found = badge_print(person=request.user, username=username, code=code)
    content = badge_content(found.username, found.get_role_display(), code)
    size = SINGLES.get(request.POST.get("pdf", ""))
    if size:
        headers = {"Content-Disposition": 'inline; filename="badge.pdf"'}
        page = labels_pdf([(size, [(label_of(content, size), (0, 0))])])
        return HttpResponse(page, content_type="application/pdf", headers=headers)
    labels = [
        {"name": name, "size": one, "picture": label_svg(label_of(content, one)), "bars": has_bars(content.scan, one)}
        for name, one in SINGLES.items()
    ]
    return shown(request, "plates/badge_label.html", {"one": found, "badge": code, "labels": labels})
