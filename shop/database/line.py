"""The line to a server elsewhere: whether nobody on the way can read it."""

import os
from typing import Any

from django.conf import settings
from django.core.checks import Tags, Warning, register

LOCAL = ("localhost", "127.0.0.1", "::1")
#: libpq's manual, "SSL Mode Descriptions": all others may go on in the clear.
ENCRYPTED = ("require", "verify-ca", "verify-full")


@register(Tags.security, deploy=True)
def line_check(**_: Any) -> list[Warning]:
    """A warning for each address that leads to another machine and leaves open whether it is encrypted."""
    return [
        Warning(
            f"The line to the database server {database['HOST']} may be in the clear ({alias}).",
            hint="Add ?sslmode=verify-full to DATABASE_URL and DATABASE_OWNER_URL (require encrypts, to whomever).",
            id="shop.W001",
        )
        for alias, database in settings.DATABASES.items()
        if _elsewhere(database["HOST"])
        and database["OPTIONS"].get("sslmode", os.environ.get("PGSSLMODE", "prefer")) not in ENCRYPTED
    ]


def _elsewhere(hosts: str) -> bool:
    """Whether any of the hosts is another machine: no name at all and a directory mean a socket here."""
    return any(host and not host.startswith(("/", "@")) and host not in LOCAL for host in hosts.split(","))
