"""The rows of an outsider's workshop, made once a process and put back as they were: to make them anew takes ten times as long."""

from django.apps import apps
from django.db import connection

from inventory.models import User, Workshop

MADE_BY_DJANGO = {"django_content_type", "auth_permission", "django_migrations"}


class KeptRows:
    """What `make` leaves in an empty database, table by table, as the database gives it."""

    def __init__(self, make):
        self.make, self.rows, self.workshop = make, {}, None

    def put(self):
        """The workshop that `make` returns, with all its rows. Where something lies in the database already it's made beside that."""
        if Workshop.objects.exists() or User.objects.exists():
            return self.make()
        if self.workshop is None:
            workshop = self.make()
            self.rows = dict(_tables())
            self.workshop = workshop.pk
            return workshop
        with connection.cursor() as cursor:
            for sql, rows in self.rows.items():
                cursor.executemany(sql, rows)
        return Workshop.objects.get(pk=self.workshop)


def _tables():
    """The statement that fills each table that isn't empty, and its rows."""
    quote = connection.ops.quote_name
    with connection.cursor() as cursor:
        for model in apps.get_models(include_auto_created=True):
            table = model._meta.db_table
            if table in MADE_BY_DJANGO or model._meta.proxy or not model._meta.managed:
                continue
            cursor.execute(f"SELECT * FROM {quote(table)}")  # noqa: S608 - a name of ours
            if rows := cursor.fetchall():
                columns = [column[0] for column in cursor.description]
                places = ", ".join(["%s"] * len(columns))
                yield f"INSERT INTO {quote(table)} ({', '.join(map(quote, columns))}) VALUES ({places})", rows  # noqa: S608 - names of ours
