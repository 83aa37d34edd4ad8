#!/usr/bin/env python
"""Run a Pinpool command: `uv run manage.py demo` is the one to try first."""

import os
import sys


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "pinpool.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
