"""Labels at the counter: choose, look at them, print. Nothing is written, so anybody of the shop may."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpResponse
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods

from plates.labels.contents import Content
from plates.labels.forms import SORTS, PaperForm, WhichForm
from plates.labels.layout import Label, has_bars, label_of
from plates.labels.pdf import labels_pdf
from plates.labels.selectors import MOST, contents, things
from plates.labels.sheets import SHEETS, SINGLES, Sheet, SheetRefused, Size, spread
from plates.labels.svg import label_svg, sheet_svg
from shop.web import PageRequest, page, shown

#: So many single labels are shown before they are printed; of sheets the first one.
LOOK = 8


@dataclass(frozen=True)
class Plan:
    """``pages``: of each (number of the content, place of its label). Labels are laid out when they are looked at: that
    takes a hundredth of a second each.
    """

    contents: Sequence[Content]
    size: Size
    sheet: Sheet | None
    pages: Sequence[Sequence[tuple[int, tuple[int, int]]]]

    @property
    def paper(self) -> Size:
        return self.sheet.paper if self.sheet else self.size

    def placed(self, number: int) -> list[tuple[Label, tuple[int, int]]]:
        """The labels of a page, each with its place."""
        return [(label_of(self.contents[at], self.size), place) for at, place in self.pages[number]]

    def pictures(self) -> list[SafeString]:
        """The first sheet, or the first labels."""
        if self.sheet:
            return [sheet_svg(self.sheet, self.placed(0))] if self.pages else []
        return [label_svg(label_of(content, self.size)) for content in self.contents[:LOOK]]


class Chosen:
    """What the address or the form asks for."""

    def __init__(self, request: PageRequest) -> None:
        # The forms are long: what is ticked comes by POST, a link from another page by GET.
        self.sent = request.POST if request.method == "POST" else request.GET
        self.person = request.user
        sort = self.sent.get("sort", "")
        self.sort = sort if sort in dict(SORTS) else SORTS[0][0]
        self.which = WhichForm(self.sent, person=request.user)
        self.paper = PaperForm(self.sent, person=request.user)
        self.ticked = set(self.sent.getlist("pick"))
        listed = (
            list(things(request.user.shop_id, self.sort, **self.which.cleaned_data)) if self.which.is_valid() else []
        )
        self.listed, self.more = listed[:MOST], len(listed) > MOST

    def try_plan(self) -> Plan | None:
        """None where the form has to say what is wrong with the paper."""
        try:
            return self.plan() if self.paper.is_valid() else None
        except SheetRefused as refusal:
            self.paper.refuse(refusal)
            return None

    def plan(self) -> Plan:
        """What is printed: those ticked, or where none is, all that are listed. Raises SheetRefused."""
        said = self.paper.cleaned_data
        found = [one for one in self.listed if not self.ticked or one.code in self.ticked]
        count, sheet = len(found), said["sheet"]
        size = sheet.label if sheet else SINGLES[said["paper"]]
        pages = list(spread(count, sheet, said["skip"] or 0)) if sheet else [[(at, (0, 0))] for at in range(count)]
        return Plan(contents(self.person, found), size, sheet, pages)


@require_http_methods(["GET", "POST"])
@page
def labels(request: PageRequest) -> HttpResponse:
    """What to print, and how it will look."""
    return _shown(request, Chosen(request))


@require_http_methods(["GET", "POST"])
@page
def printed(request: PageRequest) -> HttpResponse:
    """The labels as PDF; the page again where they cannot be printed."""
    chosen = Chosen(request)
    plan = chosen.try_plan()
    if not plan or not plan.pages:
        return _shown(request, chosen)
    pages = ((plan.paper, plan.placed(number)) for number in range(len(plan.pages)))
    headers = {"Content-Disposition": f'inline; filename="labels-{chosen.sort}.pdf"'}
    return HttpResponse(labels_pdf(pages), content_type="application/pdf", headers=headers)


def _shown(request: PageRequest, chosen: Chosen) -> HttpResponse:
    plan = chosen.try_plan()
    context = {
        "chosen": chosen,
        "sorts": SORTS,
        "plan": plan,
        "pictures": plan.pictures() if plan else [],
        "without_bars": [one.code for one in plan.contents if not has_bars(one.scan, plan.size)] if plan else [],
        "most": MOST,
        "usual": SHEETS,
    }
    return shown(request, "plates/labels.html", context)
