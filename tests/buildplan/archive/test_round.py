"""A workshop saved, loaded where it never was, and saved again: the two archives are equal, save that ids are others."""

import json
import re
import zipfile
from datetime import date
from decimal import Decimal
from io import StringIO
from uuid import uuid4

import hypothesis
import pytest
from django.core.management import call_command
from django.db import transaction
from django_scopes import scope, scopes_disabled
from hypothesis import strategies as st

from buildplan.archive import kinds
from buildplan.archive.restoring import Asked, Owner, restore
from buildplan.archive.saving import save
from buildplan.loading.demo import ensure_demo
from buildplan.logbook.queries import as_seen
from buildplan.models import DayCheck, PickTick, Project, Signature, Step, Task
from inventory.models import (
    Claim,
    Device,
    FeedAddress,
    Holding,
    Invitation,
    Item,
    Label,
    Lot,
    Member,
    Movement,
    Photo,
    Place,
    Scan,
    Tally,
    User,
    Workshop,
)
from inventory.photos.services import path_of
from inventory.stock.queries import ledger_errors
from inventory.workshop.queries import device_of
from tests import factories, pictures
from tests.archives import differences
from tests.buildplan.archive.conftest import CODE, NOW

pytestmark = pytest.mark.django_db


def again(workshop, tmp_path, name="two.zip"):
    save(workshop=workshop, path=tmp_path / name, now=NOW)
    return tmp_path / name


def texts(path):
    with zipfile.ZipFile(path) as packed:
        return {name: packed.read(name).decode("utf-8", "replace") for name in packed.namelist() if not name.startswith("photos/")}


def test_rich_workshop_comes_back_equal_with_other_ids(moved, tmp_path):
    found = restore(asked=Asked(moved.path))

    assert differences(moved.path, again(found.workshop, tmp_path)) == []
    with scope(workshop=found.workshop):
        assert Movement.objects.get(ref__startswith="step:").pk != moved.movement.pk
        assert ledger_errors(found.workshop) == []
    with zipfile.ZipFile(moved.path) as packed:
        rows = {label: said["rows"] for label, said in json.loads(packed.read("manifest.json"))["tables"].items()}
    assert rows == dict(found.rows)
    empty = {label for label, many in rows.items() if not many and ".Historical" not in label}
    assert empty == set(), "give the scene a row of these, so that they are tried"


def test_what_names_a_row_names_the_same_row_afterwards(moved):
    workshop = restore(asked=Asked(moved.path)).workshop

    with scope(workshop=workshop):
        step, lot, owner = (
            Step.objects.order_by("pk").first(),
            Lot.objects.order_by("pk").first(),
            Member.objects.exclude(user=None).order_by("pk").first(),
        )
        movement, photo, tally = (
            Movement.objects.get(ref__startswith="step:"),
            Photo.objects.get(ref__startswith="tally:"),
            Tally.objects.first(),
        )
        assert movement.ref == f"step:{step.pk}"
        assert photo.ref == f"tally:{tally.pk}"
        assert Scan.objects.get().answer == {
            "movements": [movement.pk],
            "lot": lot.pk,
            "tally": tally.pk,
            "lies": [{"lot": lot.pk, "place": "x"}],
        }
        assert Scan.objects.get().code == "01\x1d\\N"
        assert Claim.objects.get().facts["photos"] == [{"id": photo.pk, "caption": "of the float"}]
        assert Signature.objects.get().seen["photos"] == [photo.pk]
        assert [owner.pk, 90] in Signature.objects.get().seen["hours"]
        assert Task.objects.get().subject == f"shelf:{lot.pk}:{Place.objects.get(end='storage').pk}"
        assert PickTick.objects.get().steps == str(step.pk)
        keys = set(DayCheck.objects.exclude(key="").values_list("key", flat=True))
        assert keys == {f"step:{step.pk}", f"lot:{lot.pk}", "lot:R7", "lot:999999", "scale"}
        gone = Item.history.model.objects.get(workshop=workshop, code="GONE", history_type="-")
        assert not Item.objects.filter(pk=gone.id).exists()
        assert Item.history.filter(id=gone.id).count() == 2


def test_number_of_a_row_that_is_gone_is_given_to_nobody(moved):
    workshop = restore(asked=Asked(moved.path)).workshop
    with scope(workshop=workshop):
        gone = Item.history.model.objects.get(workshop=workshop, code="GONE", history_type="-").id

        made = [factories.ItemFactory(workshop=workshop).pk for _ in range(5)]

    assert gone not in made
    assert min(made) > Item._base_manager.exclude(pk__in=made).order_by("-pk").first().pk


def test_photos_come_back_byte_for_byte_each_under_a_new_name(moved):
    workshop = restore(asked=Asked(moved.path)).workshop

    with scope(workshop=workshop):
        kept = list(Photo.objects.order_by("pk"))
        assert len({photo.file for photo in kept}) == len(pictures.files()) == 2
        assert {path_of(photo).read_bytes() for photo in kept} == {(path_of(photo)).read_bytes() for photo in kept[:1]}
        assert all(photo.file.startswith(f"{workshop.pk}/") for photo in kept)


def test_archive_has_no_password_no_token_and_nobody_gets_in_by_it(moved, rf):
    everything = "\n".join(texts(moved.path).values())
    assert moved.secrets
    assert [secret for secret in moved.secrets if secret in everything] == []

    workshop = restore(asked=Asked(moved.path)).workshop

    with scope(workshop=workshop):
        assert not any(member.user.has_usable_password() for member in Member.objects.exclude(user=None).select_related("user"))
        for device in Device.objects.all():
            assert device_of(f"{device.prefix}.") is None
            assert device_of(device.prefix) is None
        assert set(Invitation.objects.values_list("digest", flat=True)) == {""}
        assert list(FeedAddress.objects.exclude(digest=None)) == []


def test_labels_keep_their_tokens(moved):
    before = [row.split(",")[1] for row in texts(moved.path)["tables/inventory/Label.csv"].splitlines()[1:]]

    workshop = restore(asked=Asked(moved.path)).workshop

    with scope(workshop=workshop):
        assert list(Label.objects.order_by("pk").values_list("token", flat=True)) == before


def test_people_with_an_account_here_are_linked_only_when_that_is_said(moved, tmp_path):
    address = moved.address
    account = factories.UserFactory(email=address)
    with pytest.raises(Exception, match="--link") as refused:
        restore(asked=Asked(moved.path))
    assert address in str(refused.value)

    workshop = restore(asked=Asked(moved.path, link=True)).workshop

    with scope(workshop=workshop):
        assert Member.objects.get(user=account).name == f"{CODE} owner"
    assert differences(moved.path, again(workshop, tmp_path)) == []


def test_who_loads_becomes_an_owner_as_themselves_or_anew(moved):
    point = transaction.savepoint()
    restore(asked=Asked(moved.path, owner=Owner(moved.address.upper())))
    with scopes_disabled():
        assert [member.role for member in Member.objects.filter(user__email=moved.address)] == ["owner"]
    transaction.savepoint_rollback(point)

    found = restore(asked=Asked(moved.path, owner=Owner("new@marsh.example", "New keeper"), code="MARSH-2"))

    with scope(workshop=found.workshop):
        assert Member.objects.get(user__email="new@marsh.example").name == "New keeper"
    assert found.workshop.code == "MARSH-2"
    assert "new@marsh.example" in found.accounts


def test_dry_run_says_the_same_and_writes_nothing(moved):
    found = restore(asked=Asked(moved.path, dry_run=True))

    assert (found.dry_run, found.photos) == (True, 1)
    assert not Workshop.objects.filter(code=CODE).exists()
    assert not User.objects.filter(email=moved.address).exists()
    assert pictures.files() == []


WORDS = st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=60)
REFS = st.builds(
    "{}:{}{}".format, st.sampled_from(sorted({*kinds.REFS, "scan", "Step"})), st.integers(0, 10**19), st.sampled_from(["", "/damaged"])
)
ROWS = st.lists(st.tuples(WORDS, st.decimals(Decimal("0.001"), 10**6, places=3), WORDS | REFS | st.just("step:")), max_size=8)


@hypothesis.settings(max_examples=4, suppress_health_check=[hypothesis.HealthCheck.function_scoped_fixture])
@hypothesis.given(ROWS)
def test_whatever_the_rows_say_comes_back_equal(outsider, tmp_path, rows):
    """Codes, quantities, notes and references as nobody would write them, at once in the ledger and in free texts."""
    folder, point = tmp_path / uuid4().hex, transaction.savepoint()
    folder.mkdir()
    with scopes_disabled():
        workshop = factories.furnished_workshop("MARSH")
        lot = Lot.objects.get(workshop=workshop)
    with scope(workshop=workshop):
        first = Movement.objects.get()
        said = {"workshop": workshop, "by": first.by, "at": NOW, "on": factories.DAY}
        for code, quantity, text in rows:
            made = factories.LotFactory(bench=lot.bench, item=lot.item, code=code)
            holding = {"workshop": workshop, "lot": made, "place": first.target, "quantity": quantity}
            Holding.objects.create(**holding)
            Movement.objects.create(**said, lot=made, quantity=quantity, source=first.source, target=first.target, note=code, ref=text[:60])
    save(workshop=workshop, path=folder / "one.zip", now=NOW)
    transaction.savepoint_rollback(point)

    point = transaction.savepoint()
    found = restore(asked=Asked(folder / "one.zip"))

    assert differences(folder / "one.zip", again(found.workshop, folder)) == []
    transaction.savepoint_rollback(point)


def test_demo_comes_back_equal_and_is_short_of_the_same(tmp_path, settings):
    today = date(2027, 2, 20)
    point = transaction.savepoint()
    ensure_demo(settings.BASE_DIR / "fixtures", password="a long enough one", today=today)
    workshop = Workshop.objects.get()
    save(workshop=workshop, path=tmp_path / "one.zip", now=NOW)
    before, unlike = short_of(workshop), changed_since_signed(workshop)
    transaction.savepoint_rollback(point)
    with scopes_disabled():
        factories.furnished_workshop("OUTSIDE")

    found = restore(asked=Asked(tmp_path / "one.zip"))

    assert differences(tmp_path / "one.zip", again(found.workshop, tmp_path)) == []
    assert short_of(found.workshop) == before
    assert changed_since_signed(found.workshop) == unlike
    assert '"short"' in before


def changed_since_signed(workshop):
    """What of each signed entry or step is otherwise than when it was signed: ids in what was seen must be those of now."""
    with scope(workshop=workshop):
        signed = [(row.seen, as_seen(row.entry or row.step)) for row in Signature.objects.order_by("pk").select_related("entry", "step")]
    assert signed
    return [[name for name in now if seen.get(name) != now[name]] for seen, now in signed]


def short_of(workshop):
    out = StringIO()
    with scope(workshop=workshop):
        projects = list(Project.objects.order_by("code").values_list("code", flat=True))
    for project in projects:
        call_command("shortfall", project=[project], workshop=workshop.code, as_of=date(2027, 2, 20), all=True, json=True, stdout=out)
    return re.sub(r"\bcut \d+", "a cut", out.getvalue())  # a cut has no other name than its number


def test_comparer_sees_a_changed_figure_a_swapped_link_and_a_missing_row(moved, tmp_path):
    """The judge of all of this is judged first."""

    def changed(name, change):
        path = tmp_path / f"{name}.zip"
        with zipfile.ZipFile(moved.path) as old, zipfile.ZipFile(path, "w") as new:
            for entry in old.namelist():
                text = old.read(entry)
                new.writestr(entry, change(text.decode()).encode() if entry == "tables/inventory/Item.csv" else text)
        return differences(moved.path, path)

    lines = texts(moved.path)["tables/inventory/Item.csv"].splitlines(keepends=True)
    first = lines[1].split(",")[0]
    assert changed("same", lambda text: text) == []
    assert changed("figure", lambda text: text.replace("MARSH-ITEM", "MARSH-TEM"))
    assert changed("id", lambda text: text.replace(f"\n{first},", "\n777777,", 1)), "links to it lead elsewhere"
    assert changed("row", lambda _: "".join(lines[:-1]))
