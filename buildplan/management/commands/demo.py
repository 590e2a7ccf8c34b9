"""`manage.py demo`: the main job on the invented scenario, with one command."""

import hmac
import os
import socket
import subprocess
import sys
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError, CommandParser
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from django_scopes import scope

from buildplan.loading.demo import KEEPER, PROJECT, Demo, ensure_demo, ensure_device
from buildplan.management.base import SiteCommand
from buildplan.management.links import sign_in_link
from buildplan.shortfall import queries, text
from inventory.common.problems import Problem
from inventory.models import User

HOST = "127.0.0.1"
PORT = 8000


class Command(SiteCommand):
    help = "Load the invented scenario, print what to order before its sealing weekend, and serve the site."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--no-serve", action="store_true", help="stop after printing")
        parser.add_argument("--port", type=int, metavar="N", help=f"serve here; else on {PORT}, or the next free one")
        parser.add_argument("--fresh", action="store_true", help="put the old database file aside and begin anew")

    def handle(self, **options: Any) -> None:
        port = None if options["no_serve"] else _port(options["port"])
        if options["fresh"]:
            self._put_aside()
        call_command("migrate", verbosity=0)
        today = timezone.localdate()
        try:
            demo = ensure_demo(settings.BASE_DIR / "fixtures", password=_password(), today=today)
            self._print_orders(demo, today)
        except Problem as problem:
            raise CommandError(str(problem)) from problem
        self._print_sign_in(port or options["port"] or PORT)
        self._print_device(demo, port or options["port"] or PORT)
        if port is not None:
            connection.close()
            _serve(port)

    def _put_aside(self) -> None:
        """Rename the database file, so that nothing is lost; its log files go with it."""
        name = connection.settings_dict["NAME"]
        if connection.vendor != "sqlite":
            raise CommandError("--fresh is for the embedded database: name another one with DATABASE_URL")
        if not Path(name).exists():
            return
        with connection.cursor() as cursor:
            cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.close()
        aside = _free_name(Path(name), timezone.localdate())
        for suffix in ("-wal", "-shm", ""):
            if Path(f"{name}{suffix}").exists():
                Path(f"{name}{suffix}").rename(f"{aside}{suffix}")
        self.stdout.write(f"The old demo is now {aside.name}.")

    def _print_orders(self, demo: Demo, today: date) -> None:
        self.stdout.write(_age(demo, today))
        with scope(workshop=demo.workshop):
            found = queries.shortfall(queries.projects([PROJECT]), before=demo.sealing_day, as_of=today)
        self.stdout.write(text.order_list(found, reasons=True))

    def _print_sign_in(self, port: int) -> None:
        user = User.objects.get(email=KEEPER)
        password = _password() if user.check_password(_password()) else "as you set it"
        address = f"http://{HOST}:{port}"
        self.stdout.write(f"Address   {address}/")
        self.stdout.write(f"Sign in   {KEEPER}  password {password}")
        self.stdout.write(f"or once   {sign_in_link(user, address)}")

    def _print_device(self, demo: Demo, port: int) -> None:
        """A token for programs, which only the run that makes it can show."""
        token = ensure_device(demo)
        address = f"http://{HOST}:{port}"
        if token is None:
            self.stdout.write(f"Device    its token was shown when it was made: {address}{reverse('devices')} issues another")
            return
        self.stdout.write(f"Device    {token}")
        self.stdout.write(f'try       curl -H "Authorization: Bearer {token}" {address}{reverse("api-me")}')


def _age(demo: Demo, today: date) -> str:
    days = (today - demo.loaded_on).days
    if days:
        plural = "" if days == 1 else "s"
        return f"This demo is {days} day{plural} old (loaded {demo.loaded_on}); its plan has aged with it. --fresh begins anew.\n"
    return f"{demo.workshop.name}, {'loaded' if demo.fresh else 'as loaded'} today. Sealing weekend: up to {demo.sealing_day}.\n"


def _password() -> str:
    """The demo's password: the same at each run, another on each site, and worth nothing anywhere else."""
    return hmac.new(settings.SECRET_KEY.encode(), b"demo password", "sha256").hexdigest()[:12]


def _free_name(path: Path, today: date) -> Path:
    for at in range(1, 10_000):
        aside = path.with_name(f"{path.name}.{today}-{at}")
        if not aside.exists():
            return aside
    raise CommandError(f"too many old files beside {path}: remove some")


def _port(asked: int | None) -> int:
    """The port to serve on; a taken one is refused where it was asked for, else passed over."""
    for port in [asked] if asked else range(PORT, PORT + 20):
        with socket.socket() as probe:
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            if port and 0 < port < 2**16:
                try:
                    probe.bind((HOST, port))
                except OSError:
                    continue
                return port
    raise CommandError(f"port {asked or PORT} is taken or can't be used: choose another with --port")


def _start_worker() -> None:
    """Start the process that does the long loads. It ends with the server, however that ends: it reads a pipe that the server holds."""
    mine, servers = os.pipe()
    command = [sys.executable, "manage.py", "worker", "--with-stdin", "--verbosity", "0"]
    subprocess.Popen(command, cwd=settings.BASE_DIR, stdin=mine)  # noqa: S603 - our own interpreter, fixed arguments
    os.close(mine)
    os.set_inheritable(servers, True)  # noqa: FBT003 - the standard library's API


def _serve(port: int) -> None:
    """Become the server: one process, a few threads, ended by Ctrl-C; and a worker beside it."""
    sys.stdout.flush()
    _start_worker()
    arguments = ["-m", "gunicorn", "buildplan.site.wsgi", "--bind", f"{HOST}:{port}", "--threads", "4", "--no-control-socket"]
    os.chdir(settings.BASE_DIR)
    os.execv(sys.executable, [sys.executable, *arguments])  # noqa: S606 - our own interpreter, fixed arguments
