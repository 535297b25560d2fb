"""What the pages of the stock room look up by an address."""

from django.http import Http404

from plates.catalogue.models import Kind
from plates.catalogue.selectors import kind_by_code
from plates.stock import selectors
from plates.stock.models import Plate
from shop.rows import id_of
from shop.web import PageRequest


def kind_or_404(request: PageRequest, code: str) -> Kind:
    kind = kind_by_code(shop_id=request.user.shop_id, kind=code)
    if kind is None:
        raise Http404(f"No kind has the code {code!r}.")
    return kind


def plate_or_404(request: PageRequest, text: str) -> Plate:
    key = id_of(text)
    if key is None:
        raise Http404("That is not the id of a plate.")
    plate = selectors.plates(request.user.shop_id).filter(pk=key).first()
    if plate is None:
        raise Http404("No plate has this id.")
    return plate
