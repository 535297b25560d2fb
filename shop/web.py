"""What every page shares: a refusal as a page of its own, in plain words."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from shop.errors import Refusal


class RefusalPages:
    """A refusal that a page did not catch: says why and how to go on. The API has its own handler."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, Refusal):
            return None
        return render(request, "shop/refused.html", {"refusal": exception}, status=exception.status)
