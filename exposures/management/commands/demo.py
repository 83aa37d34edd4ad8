"""`manage.py demo`: an invented club, one box worked through to its exposure time, and the site to look round in."""

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from exposures.demo.club import CLUB, TOKEN_DAYS, Login, fresh_token, load_club
from exposures.demo.drawings import write_drawings
from exposures.demo.job import PAPER, work_through
from exposures.demo.report import written
from exposures.demo.serving import ADDRESS, DEFAULT_PORT, is_free, next_free
from exposures.models import Paper
from pinpool.http.problems import Conflict
from pinpool.service.serving import serve


class Command(BaseCommand):
    help = (
        "Set up the database, load the invented Saltmarsh club, work one box through from its measurements to its "
        "exposure time, and serve the site. Running it again is quick and changes nothing that is there."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop before serving the site")
        parser.add_argument("--port", type=int, help=f"serve on this port (default: {DEFAULT_PORT}, or the next free)")
        parser.add_argument("--token", action="store_true", help="print a fresh API token; the demo's older one ends")

    def handle(self, *args: Any, **options: Any) -> None:
        port = None if options["no_serve"] else self._port(options["port"])
        call_command("migrate", interactive=False, verbosity=0)
        try:
            keeper, login = load_club()
        except Conflict as taken:
            raise CommandError(f"The demo's club cannot be loaded. {taken}") from None
        folder = Path(getattr(settings, "DATA_DIR", "."), "demo")
        try:
            job = work_through(member=keeper)
        except Paper.DoesNotExist:
            raise CommandError(f"The demo's paper “{PAPER}” is no longer in the club; name one so again.") from None
        report = written(job, keeper.club, write_drawings(job, folder))
        (folder / "report.txt").write_text(report, encoding="utf-8")
        self.stdout.write(report)
        self._say_login(keeper.user, login, fresh=options["token"])
        if port is not None:
            self._serve(port)

    def _port(self, asked: int | None) -> int:
        """The port asked for, or the first free one; found before the work starts."""
        if asked is not None:
            if not 1 <= asked <= 65535 or not is_free(asked):
                raise CommandError(f"Port {asked} is in use or not open to you. Give another --port.")
            return asked
        port = next_free(DEFAULT_PORT)
        if port is None:
            raise CommandError(f"Port {DEFAULT_PORT} and the next ones are all in use. Give another --port.")
        return port

    def _say_login(self, user: Any, login: Login | None, *, fresh: bool) -> None:
        name = user.get_username()
        self._heading("Sign in")
        self.stdout.write(f"Account    {name}, the club's keeper (invented)")
        if login is not None:
            self.stdout.write(f"Password   {login.password}")
            self.stdout.write(f"API token  {login.token}")
            self.stdout.write(f"Both are shown this once; the token ends after {TOKEN_DAYS} days.")
        elif fresh:
            self.stdout.write(f"API token  {fresh_token(user)}")
            self.stdout.write(f"Shown this once; it ends after {TOKEN_DAYS} days, and the one before it has ended now.")
        else:
            self.stdout.write("The club was loaded before; its password and token were shown then.")
            self.stdout.write("A fresh token:   python manage.py demo --token")
            self.stdout.write(f"A new password:  python manage.py changepassword {name}")

    def _serve(self, port: int) -> None:
        site = f"http://{ADDRESS}:{port}"
        self._heading("Look round")
        if port != DEFAULT_PORT:
            self.stdout.write(f"Port {DEFAULT_PORT} is in use by another program; this is port {port}.")
        self.stdout.write(f"Site           {site}/")
        self.stdout.write(f"How to ask     {site}/api/v1/docs/")
        self.stdout.write(f"Keeper's desk  {site}/admin/   sign in here first; the desk is for looking only")
        self.stdout.write(f"The log        {site}/api/v1/clubs/{CLUB['slug']}/exposures/")
        self.stdout.write(f"With a token   curl -H 'Authorization: Bearer TOKEN' {site}/api/v1/clubs/")
        self.stdout.write("Stop with Ctrl-C.")
        self.stdout.flush()
        serve(address=ADDRESS, port=port, workers=1, threads=4, tell_requests=False)
        self.stdout.write("Stopped.")

    def _heading(self, text: str) -> None:
        self.stdout.write(f"\n\n{text}\n{'=' * len(text)}")
