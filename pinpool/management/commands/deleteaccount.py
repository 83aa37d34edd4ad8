"""`manage.py deleteaccount USER`: as the account's owner could on their own page."""

from argparse import ArgumentParser
from typing import Any

from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError
from rest_framework.exceptions import APIException

from pinpool.accounts.services import remove_account


class Command(BaseCommand):
    help = "Delete an account for good. Its shared logs stay, as a former member's; its private ones go."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")

    def handle(self, *args: Any, **options: Any) -> None:
        users = get_user_model()
        user = users._default_manager.filter(**{users.USERNAME_FIELD: options["username"]}).first()
        if user is None:
            raise CommandError(f"There is no account called {options['username']}.")
        try:
            remove_account(user=user)
        except APIException as fault:
            raise CommandError(str(fault.detail)) from None
        self.stdout.write(f"The account {options['username']} is gone.")
