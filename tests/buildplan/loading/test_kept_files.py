from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.core import signing
from django_scopes import scopes_disabled

from buildplan.loading import kept_files
from buildplan.loading.kept_files import KEPT, MOST_KEPT, NotKept
from buildplan.loading.sent_files import SentFile
from tests import factories

LIST = SentFile("list.csv", b"bag,line,item,quantity\n")


@pytest.fixture
def now():
    return datetime.now(UTC)


@pytest.fixture
def lying(settings):
    """What lies in the folder."""
    return lambda: sorted(path.name for path in (Path(settings.MEDIA_ROOT) / kept_files.FOLDER).glob("*"))


def test_file_is_found_again_for_an_hour(storekeeper, now):
    reference = kept_files.keep(LIST, now=now, by=storekeeper)

    assert kept_files.find(reference, now=now + KEPT, by=storekeeper) == LIST
    with pytest.raises(NotKept, match="choose it again"):
        kept_files.find(reference, now=now + KEPT + timedelta(seconds=1), by=storekeeper)


def test_file_is_only_its_member_s(storekeeper, owner, outsider, now):
    with scopes_disabled():
        stranger = factories.MemberFactory(workshop=outsider)
    reference = kept_files.keep(LIST, now=now, by=storekeeper)

    for other in (owner, stranger):
        with pytest.raises(NotKept):
            kept_files.find(reference, now=now, by=other)
        kept_files.forget(reference, now=now, by=other)
    assert kept_files.find(reference, now=now, by=storekeeper) == LIST


def test_name_says_nothing_of_what_a_person_called_it(storekeeper, now, lying):
    kept_files.keep(SentFile("../../secret plan.CSV", b"x"), now=now, by=storekeeper)

    (name,) = lying()
    assert name.startswith(f"{storekeeper.pk}-")
    assert name.endswith(".csv")
    assert "secret" not in name


@pytest.mark.parametrize(
    "reference",
    ["", "x", "a:b:c", signing.dumps([1, "../x", "x.csv", 9e9], salt="another")],
    ids=["nothing", "text", "parts", "signed for another"],
)
def test_reference_that_was_not_signed_here_finds_nothing(storekeeper, now, reference):
    with pytest.raises(NotKept):
        kept_files.find(reference, now=now, by=storekeeper)
    kept_files.forget(reference, now=now, by=storekeeper)


def test_forgotten_file_is_gone_and_may_be_forgotten_twice(storekeeper, now, lying):
    reference = kept_files.keep(LIST, now=now, by=storekeeper)

    for _ in range(2):
        kept_files.forget(reference, now=now, by=storekeeper)
    assert lying() == []
    with pytest.raises(NotKept):
        kept_files.find(reference, now=now, by=storekeeper)


def test_old_files_go_when_another_is_kept(storekeeper, owner, now, lying):
    kept_files.keep(LIST, now=now, by=owner)

    kept_files.keep(LIST, now=now + KEPT + timedelta(minutes=1), by=storekeeper)
    assert [name.partition("-")[0] for name in lying()] == [str(storekeeper.pk)]


def test_member_keeps_ten_at_most_and_takes_none_of_another(storekeeper, owner, now, lying):
    kept_files.keep(LIST, now=now, by=owner)
    for _ in range(MOST_KEPT + 3):
        newest = kept_files.keep(LIST, now=now, by=storekeeper)

    assert len(lying()) == MOST_KEPT + 1
    assert kept_files.find(newest, now=now, by=storekeeper) == LIST
