#!/usr/bin/env python
"""The one way in from the command line."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "shop.settings")
    from django.core.management import execute_from_command_line

    from shop.database import before_command

    before_command(sys.argv, os.environ)
    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
