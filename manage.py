#!/usr/bin/env python
"""Entry point of every command: ``python manage.py --help`` lists them."""

import os
import sys


def main() -> None:
    """Run the command named on the command line."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "brickledger.settings")
    from django.core.management import execute_from_command_line  # noqa: PLC0415 settings first

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
