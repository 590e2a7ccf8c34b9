"""Adding, changing and removing a seam of a step: the service and its pages."""

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction
from html import unescape
from http import HTTPStatus

import pytest
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.hardware.services import Gone, StepDone
from buildplan.sealing import services
from buildplan.sealing.models import Seam
from inventory.common.problems import FieldProblem
from inventory.models import Item
from inventory.workshop.policy import NotAllowed
from tests import factories


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05")


@pytest.fixture
def sealant(workshop):
    known = {"kind": "sealant", "unit": "g", "gravity": Decimal("1.55")}
    return factories.ItemFactory(workshop=workshop, code="SEAL-B2", identifiers=["PS 890 B2"], **known)


@pytest.fixture
def stated(sealant):
    sizes = {"length": Fraction(1), "unit": "m", "leg_a": Fraction(6), "leg_b": Fraction(6), "size_unit": "mm"}
    return services.PlannedSeam("F3-05", "S1", sealant.pk, "triangle", **sizes, loss_percent=Fraction(15))


@pytest.fixture
def save(step, stated, builder):
    def save(*, seam=None, by=builder, **changes):
        return services.save_seam(step=step, stated=replace(stated, **changes), seam=seam, by=by)

    return save


@pytest.fixture
def seam(save):
    return save()


@pytest.fixture
def typed(sealant):
    sizes = {"length": "1.5", "unit": "ft", "leg_a": "1/4", "leg_b": "0.25", "thickness": "", "size_unit": "in"}
    return {"code": "S1", "sealant": "ps890b2", "shape": "triangle", **sizes, "count": "2", "grams_each": "", "loss_percent": "12.5"}


@pytest.fixture
def adding(step):
    return reverse("add-seam", args=[step.project.code, step.code])


def words(page):
    return unescape(page.content.decode())


def test_seam_is_kept_as_stated_with_its_history(save, builder):
    seam = save(code=" S1 ")
    seam.refresh_from_db()
    assert (seam.code, seam.shape, seam.length, seam.unit, seam.leg_a, seam.loss_percent) == ("S1", "triangle", 1, "m", 6, 15)
    assert seam.history.get().history_user == builder
    assert save(code="S2").position == seam.position + 1


def test_seam_is_changed_in_place_and_noted_once(seam, save, owner):
    for _ in range(2):
        save(seam=seam, shape="concave", leg_b=None, by=owner)
    seam.refresh_from_db()
    assert (seam.shape, seam.leg_b) == ("concave", None)
    assert (seam.history.latest().history_user, seam.history.count()) == (owner, 2)


def test_seam_is_removed_and_its_history_stays(seam, builder):
    pk = seam.pk
    services.remove_seam(seam=seam, by=builder)
    assert not Seam.objects.exists()
    assert Seam.history.filter(id=pk).latest().history_user == builder


@pytest.mark.parametrize(
    ("changes", "field", "text"),
    [
        ({"code": "s1"}, "code", "s1 is a seam of F3-05 already"),
        ({"code": ""}, "code", "is blank"),
        ({"sealant_id": 0}, "sealant", "no item of this workshop's catalogue"),
        ({"shape": "heart"}, "shape", "none of concave"),
        ({"leg_b": None}, "leg_b", "triangle needs it"),
        ({"thickness": Fraction(1)}, "thickness", "triangle has none: is the shape right"),
        ({"length": Fraction(-1)}, "length", "must be over 0"),
        ({"length": Fraction(1, 10**31 + 7)}, "length", "too many digits"),
        ({"unit": "g"}, "unit", "g is a mass, mm a length"),
        ({"size_unit": "furlongs per fortnight"}, "size_unit", "furlongs"),
        ({"count": 0}, "count", "0 is not from 1"),
        ({"loss_percent": Fraction(1001)}, "loss_percent", "0 to 1000"),
        ({"loss_percent": Fraction(1, 3)}, "loss_percent", "6 decimals"),
        ({"shape": "each", "length": None, "leg_a": None, "leg_b": None}, "grams_each", "counted by the piece needs it"),
    ],
)
def test_seam_whose_grams_cannot_be_told_names_its_field(seam, save, changes, field, text):
    with pytest.raises(FieldProblem, match=text) as caught:
        save(**{"code": "S2", **changes})
    assert caught.value.field == field
    assert Seam.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "text"),
    [
        ({"kind": "part"}, "is of kind part: name a sealant"),
        ({"kind": "sealant", "unit": "g"}, "the specific gravity of OTHER is not known"),
        ({"kind": "sealant", "unit": "ml", "gravity": Decimal("1.5")}, "OTHER is counted in ml: g is a mass, ml a volume"),
    ],
)
def test_seam_of_another_item_is_refused_as_when_loading(workshop, save, facts, text):
    with pytest.raises(FieldProblem, match=text) as caught:
        save(sealant_id=factories.ItemFactory(workshop=workshop, code="OTHER", **facts).pk)
    assert caught.value.field == "sealant"


def test_seam_of_a_done_step_stays(seam, save, step, builder):
    step.done = True
    step.save()
    for write in (lambda: save(code="S2"), lambda: save(seam=seam, count=9), lambda: services.remove_seam(seam=seam, by=builder)):
        with pytest.raises(StepDone, match="F3-05 is done: take it back before you change its seams"):
            write()
    assert Seam.objects.get().count == 1


def test_seam_removed_meanwhile_is_not_changed(seam, save, builder):
    services.remove_seam(seam=Seam.objects.get(), by=builder)
    for write in (lambda: save(seam=seam, count=9), lambda: services.remove_seam(seam=seam, by=builder)):
        with pytest.raises(Gone, match="seam S1 is no longer in F3-05"):
            write()


def test_seam_is_not_the_outsider_s_to_write_nor_of_their_items(seam, save, outsider):
    with scopes_disabled():
        foreign = Item.objects.filter(workshop=outsider).first()
        stranger = outsider.members.first()
    with pytest.raises(NotAllowed):
        save(code="S2", by=stranger)
    with pytest.raises(NotAllowed):
        services.remove_seam(seam=seam, by=stranger)
    with pytest.raises(FieldProblem, match="no item of this workshop's catalogue"):
        save(code="S2", sealant_id=foreign.pk)


@pytest.mark.parametrize("role", ["owner", "storekeeper", "builder"])
def test_member_who_plans_adds_changes_and_removes_a_seam(as_member, workshop, step, adding, typed, role):
    client = as_member(factories.MemberFactory(workshop=workshop, role=role))
    back = reverse("step", args=[step.project.code, step.code])
    assert f'href="{adding}"' in words(client.get(back))
    answer = client.post(adding, typed)
    assert (answer.status_code, answer.url) == (HTTPStatus.FOUND, back)
    seam = Seam.objects.get()
    assert (seam.sealant.code, seam.length, seam.leg_a, seam.loss_percent) == ("SEAL-B2", Fraction(3, 2), Fraction(1, 4), Fraction(25, 2))

    here = reverse("seam", args=[seam.pk])
    assert f'href="{here}"' in words(client.get(back))
    shown = client.get(here).context["form"]
    assert {name: shown[name].value() for name in typed} == {
        **typed,
        "sealant": "SEAL-B2",
        "leg_a": "0.25",
        "thickness": None,
        "count": 2,
        "grams_each": None,
    }
    counted = dict.fromkeys(typed, "") | {"code": "S1", "sealant": "SEAL-B2", "shape": "each", "count": "3", "grams_each": "2.5"}
    client.post(here, counted)
    seam.refresh_from_db()
    assert (seam.shape, seam.length, seam.count, seam.grams_each, seam.loss_percent) == ("each", None, 3, Fraction(5, 2), 0)

    assert "Seam S1 is removed." in words(client.post(reverse("remove-seam", args=[seam.pk]), follow=True))
    assert not Seam.objects.exists()


@pytest.mark.parametrize("role", ["inspector", "reader"])
def test_member_who_does_not_plan_is_offered_and_let_do_nothing(as_member, workshop, seam, step, adding, typed, role):
    client = as_member(factories.MemberFactory(workshop=workshop, role=role))
    here = reverse("seam", args=[seam.pk])
    page = words(client.get(reverse("step", args=[step.project.code, step.code])))
    assert adding not in page
    assert here not in page
    for answer in (client.get(adding), client.post(adding, typed), client.get(here), client.post(here, typed)):
        assert answer.status_code == HTTPStatus.FORBIDDEN
    assert client.post(reverse("remove-seam", args=[seam.pk])).status_code == HTTPStatus.FORBIDDEN
    assert Seam.objects.get().count == 1


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"code": ""}, "required"),
        ({"sealant": "NOPE"}, "NOPE is no code of the catalogue."),
        ({"sealant": "OUTSIDE-ITEM"}, "OUTSIDE-ITEM is no code of the catalogue."),
        ({"shape": ""}, "required"),
        ({"shape": "heart"}, "Select a valid choice"),
        ({"length": "long"}, "Write the size as 1/8 or 0.125."),
        ({"length": ""}, "triangle needs it"),
        ({"leg_b": "0"}, "Give more than 0"),
        ({"thickness": "1"}, "triangle has none: is the shape right?"),
        ({"unit": "kg"}, "kg is a mass, mm a length"),
        ({"size_unit": "nope"}, "nope"),
        ({"count": "0"}, "greater than or equal to 1"),
        ({"loss_percent": "-5"}, "greater than or equal to 0"),
        ({"loss_percent": "NaN"}, "Enter a number"),
    ],
)
def test_wrong_seam_is_told_at_its_field_with_all_that_was_typed(as_member, builder, adding, typed, wrong, text):
    answer = as_member(builder).post(adding, {**typed, **wrong})
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    form = answer.context["form"]
    [field] = wrong
    assert [*form.errors] == [field]
    assert text in form.errors[field][0]
    assert {name: form[name].value() for name in typed} == {**typed, **wrong}
    assert not Seam.objects.exists()


def test_done_step_s_seams_say_why_they_stay(as_member, builder, seam, step, adding, typed):
    step.done = True
    step.save()
    client, here = as_member(builder), reverse("seam", args=[seam.pk])
    for answer in (client.get(adding), client.get(here), client.post(reverse("remove-seam", args=[seam.pk]))):
        assert answer.status_code == HTTPStatus.CONFLICT
        assert "F3-05 is done: take it back before you change its seams" in words(answer)
    answer = client.post(here, typed)
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "F3-05 is done" in answer.context["form"].non_field_errors()[0]
    assert answer.context["form"]["length"].value() == "1.5"
    assert Seam.objects.get().length == 1
