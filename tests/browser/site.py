"""The service at whatever database a file names: one for all browser tests of a session, each on a database of its own.

It keeps no connection from one request to the next.
"""
# ruff: noqa: I001

import os
from pathlib import Path

from shop.wsgi import application as served  # first, since it sets Django up

from django.db import connections

NAMED = Path(os.environ["DATABASE_NAMED"])

for _settings in connections.settings.values():
    _settings["CONN_MAX_AGE"] = 0


def application(environ, start_response):
    connections["default"].settings_dict["NAME"] = NAMED.read_text()
    return served(environ, start_response)
