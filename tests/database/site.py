"""A whole site in one file for the tests of reloads: its one page tells which process and which server answer.

It is copied into a directory of the test's own and run there, so that the test may touch it.
"""

import os
import sys
from pathlib import Path

from django.conf import settings
from django.core.management import execute_from_command_line
from django.core.wsgi import get_wsgi_application
from django.db import connection
from django.http import HttpRequest, HttpResponse
from django.urls import path

from shop.database import before_command, databases

if not settings.configured:
    settings.configure(
        ALLOWED_HOSTS=["127.0.0.1"],
        DATABASES=databases(os.environ, Path(__file__).parent),
        DEBUG=False,
        ROOT_URLCONF=__name__,
        SECRET_KEY="for tests only",
        USE_TZ=True,
    )


def answer(request: HttpRequest) -> HttpResponse:
    with connection.cursor() as cursor:
        cursor.execute("SELECT current_user, extract(epoch FROM pg_postmaster_start_time())")
        user, server = cursor.fetchone()
    return HttpResponse(f"{os.getpid()} {user} {server}")


urlpatterns = [path("", answer)]
application = get_wsgi_application()

if __name__ == "__main__":
    before_command(sys.argv, os.environ)
    execute_from_command_line(sys.argv)
