"""`manage.py worker`: does the long loads, beside the server."""

import os
import signal
import sys
from threading import Thread
from typing import Any

from django.core.management import call_command
from django.core.management.base import CommandParser
from django.db import OperationalError, connection
from django_tasks_db.utils import is_locked_database_exception

from buildplan.loading import worker
from buildplan.management.base import SiteCommand


class Command(SiteCommand):
    help = "Do the long loads, one after the other, until it is ended. Run one beside the server."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--with-stdin", action="store_true", help="end when the standard input ends: with the process that started it")
        parser.add_argument("--once", action="store_true", help="do what waits, then end")

    def handle(self, **options: Any) -> None:
        if options["with_stdin"]:
            Thread(target=_end_with_stdin, daemon=True).start()
        with worker.present():
            call_command("prune_db_task_results", verbosity=0)
            _work(batch=options["once"], verbosity=options["verbosity"])


def _work(**how: Any) -> None:
    """The queue's own worker, begun again where the database was busy for longer than it waits: it would end by that."""
    while True:
        try:
            call_command("db_worker", reload=False, startup_delay=False, **how)
        except OperationalError as error:
            if not is_locked_database_exception(error):
                raise
            connection.close()
        else:
            return


def _end_with_stdin() -> None:
    sys.stdin.buffer.read()
    os.kill(os.getpid(), signal.SIGTERM)
