"""`manage.py archive`: texts for people, JSON for programs, and how it ends."""

import json

import pytest
from django.core.management import CommandError, call_command
from django.db import transaction
from django_scopes import scopes_disabled

from inventory.models import Lot, Member, Workshop
from tests import factories, loads

pytestmark = pytest.mark.django_db


@pytest.fixture
def saved(outsider, tmp_path):
    """An archive of a workshop that is here no more."""
    point = transaction.savepoint()
    with scopes_disabled():
        factories.furnished_workshop("MARSH")
    ran = loads.run("archive", "save", str(tmp_path / "marsh.zip"), "--workshop", "marsh")
    assert (ran.code, ran.err) == (0, "")
    assert "workshop MARSH" in ran.out
    transaction.savepoint_rollback(point)
    return tmp_path / "marsh.zip"


def test_saved_and_loaded_with_an_owner_s_link(saved):
    ran = loads.run("archive", "load", str(saved), "--owner", "keeper@marsh.example", "--name", "New keeper", "--json")

    assert ran.code == 0
    assert ran.json["workshop"] == "MARSH"
    assert ran.json["tables"]["inventory.Lot"] == 1
    assert "sign in once at http" in ran.err
    with scopes_disabled():
        assert Lot.objects.filter(workshop__code="MARSH").count() == 1
        assert Member.objects.get(user__email="keeper@marsh.example").role == "owner"


def test_text_says_what_was_loaded_and_how_somebody_gets_in(saved):
    dry = loads.run("archive", "load", str(saved), "--dry-run")
    assert "a dry run: nothing was written" in dry.out
    assert not Workshop.objects.filter(code="MARSH").exists()

    ran = loads.run("archive", "load", str(saved), "--as", "COPY")

    assert "workshop COPY as it was saved on" in ran.out
    assert "manage.py member EMAIL --workshop COPY" in ran.err


def test_copy_is_checked_where_its_workshop_is(outsider, tmp_path):
    path = tmp_path / "one.zip"
    loads.run("archive", "save", str(path), "--workshop", "OUTSIDE")
    ran = loads.run("archive", "check", str(path))
    assert (ran.code, "it is whole" in ran.out) == (0, True)
    assert loads.run("archive", "check", str(path), "--json").json["rows"] > 10

    whole = path.read_bytes()
    path.write_bytes(whole.replace(b"manifest.json", b"manifest.jsom"))
    assert loads.run("archive", "check", str(path)).code == 1
    assert loads.run("archive", "check", str(tmp_path / "nowhere.zip")).code == 2
    damaged = bytearray(whole)
    damaged[len(whole) // 3] ^= 0xFF
    path.write_bytes(damaged)
    assert loads.run("archive", "check", str(path)).code == 1, "one byte of a table is another"


def test_bad_input_ends_with_1_and_wrong_usage_with_2(saved, tmp_path):
    (tmp_path / "bad.zip").write_bytes(b"no zip")
    bad = loads.run("archive", "load", str(tmp_path / "bad.zip"), "--json")
    assert (bad.code, "is no zip" in bad.errors[0]) == (1, True)
    for arguments, code, says in (
        (("load", str(tmp_path / "bad.zip")), 1, "nothing was loaded"),
        (("load", str(saved), "--owner", "nobody"), 1, "nobody is no e-mail address"),
        (("load", str(saved), "--as", "X" * 41), 1, "nothing was loaded"),
        (("save", str(saved), "--workshop", "OUTSIDE"), 1, "is there already"),
        (("save", str(tmp_path / "no" / "folder.zip"), "--workshop", "OUTSIDE"), 1, "can't be written"),
        (("save", str(tmp_path / "x.zip"), "--workshop", "NOWHERE"), 1, "NOWHERE"),
        (("load", str(tmp_path / "nowhere.zip")), 2, "no such file"),
    ):
        ran = loads.run("archive", *arguments)
        assert (ran.code, says in ran.err) == (code, True), ran
    with pytest.raises(CommandError, match="are required"):
        call_command("archive")


def test_outsider_s_rows_are_in_nobody_else_s_archive(saved, tmp_path):
    loads.run("archive", "load", str(saved))
    ran = loads.run("archive", "save", str(tmp_path / "two.zip"), "--workshop", "OUTSIDE", "--json")

    assert json.loads(ran.out)["tables"]["inventory.Lot"] == 1
