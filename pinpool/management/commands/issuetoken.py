"""`manage.py issuetoken USER`: an API token for an account, shown this once."""

from argparse import ArgumentParser
from datetime import timedelta
from typing import Any

from django.contrib.auth import get_user_model
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from pinpool.models import ApiToken
from pinpool.scopes import Scope


class Command(BaseCommand):
    help = "Issue an API token for an account. The secret is shown this once and never stored."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("username")
        parser.add_argument("--name", default="command line", help="What the token is for.")
        parser.add_argument("--scope", choices=Scope.values, default=Scope.MANAGE, help="manage is all.")
        parser.add_argument("--days", type=int, default=90, help="Days until it ends; 90 unless told.")

    def handle(self, *args: Any, **options: Any) -> None:
        users = get_user_model()
        user = users._default_manager.filter(**{users.USERNAME_FIELD: options["username"]}).first()
        if user is None:
            raise CommandError(f"There is no account called {options['username']}.")
        if options["days"] < 1:
            raise CommandError("A token lasts at least a day.")
        ends = timezone.now() + timedelta(days=options["days"])
        _, secret = ApiToken.issue(user=user, name=options["name"], scope=options["scope"], expires_at=ends)
        self.stdout.write(f"{secret}\nEnds on {ends:%Y-%m-%d}. Send it as “Authorization: Bearer {secret[:6]}…”.")
