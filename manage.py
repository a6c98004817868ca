#!/usr/bin/env python3
"""The one door for people: `up`, `test`, and Django's commands."""

import os
import sys


def main() -> None:
    reads_only_code = {"makemigrations", "makemessages", "spectacular"} & set(sys.argv[1:2])
    os.environ.setdefault(
        "DJANGO_SETTINGS_MODULE", "config.settings_test" if reads_only_code else "config.settings"
    )
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
