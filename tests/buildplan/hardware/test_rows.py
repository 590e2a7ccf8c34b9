"""Adding, changing and removing a rivet row of a step: the service and its pages."""

from fractions import Fraction
from html import unescape
from http import HTTPStatus

import pytest
from django.urls import reverse
from django_scopes import scopes_disabled

from buildplan.hardware import services
from buildplan.hardware.models import ClecoSpacing, RivetRow
from inventory.common.problems import FieldProblem
from inventory.models import Item
from inventory.workshop.policy import NotAllowed
from tests import factories


@pytest.fixture
def step(project):
    return factories.StepFactory(project=project, code="F3-05", position=1)


@pytest.fixture
def later(project):
    return factories.StepFactory(project=project, code="F3-06", position=2)


@pytest.fixture
def rivet(workshop):
    return factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet", identifiers=["AN470AD4-6"])


@pytest.fixture
def cleco(workshop):
    return factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=Fraction(1, 8))


@pytest.fixture
def save(step, rivet, cleco, builder):
    def save(**changes):
        given = {"step": step, "code": "R1", "rivet": rivet, "holes": 84, "grip": Fraction(1, 8), "cleco_every": 3}
        return services.save_row(**{**given, "clecos_until": None, "by": builder, **changes})

    return save


@pytest.fixture
def row(save):
    return save()


@pytest.fixture
def typed(rivet, cleco, later):
    return {"code": "R1", "rivet": "an470 ad4-6", "holes": "84", "grip": "3/16", "cleco_every": "3", "clecos_until": str(later.pk)}


@pytest.fixture
def adding(step):
    return reverse("add-row", args=[step.project.code, step.code])


def words(page):
    return unescape(page.content.decode())


def test_row_is_kept_with_the_cleco_of_its_diameter_and_its_history(save, builder, cleco, later):
    row = save(clecos_until=later)
    row.refresh_from_db()
    assert (row.code, row.holes, row.grip, row.cleco_every, row.cleco, row.clecos_until) == ("R1", 84, Fraction(1, 8), 3, cleco, later)
    assert row.history.get().history_user == builder
    assert save(code="R2").position == row.position + 1


def test_row_is_changed_in_place_and_noted_once(row, save, owner):
    save(row=row, holes=90, cleco_every=None, by=owner)
    save(row=row, holes=90, cleco_every=None, by=owner)
    row.refresh_from_db()
    assert (row.holes, row.cleco_every, row.cleco) == (90, None, None)
    assert (row.history.latest().history_user, row.history.count()) == (owner, 2)


def test_row_is_removed_and_its_history_stays(row, builder):
    pk = row.pk
    services.remove_row(row=row, by=builder)
    assert not RivetRow.objects.exists()
    assert RivetRow.history.filter(id=pk).latest().history_user == builder


@pytest.mark.parametrize(
    ("changes", "field", "text"),
    [
        ({"code": "r1"}, "code", "r1 is a row of F3-05 already"),
        ({"code": " "}, "code", "is blank"),
        ({"code": "R\n2"}, "code", "line breaks"),
        ({"holes": 0}, "holes", "0 is not from 1 to 1000000"),
        ({"holes": 1_000_001}, "holes", "1000001 is not"),
        ({"grip": Fraction(0)}, "grip", "doesn't do"),
        ({"grip": Fraction(120)}, "grip", "check its unit"),
        ({"grip": Fraction(1, 10**31 + 7)}, "grip", "too many digits"),
        ({"cleco_every": 0}, "cleco_every", "0 is not from 1"),
    ],
)
def test_row_that_makes_no_sense_names_its_field(row, save, changes, field, text):
    with pytest.raises(FieldProblem, match=text) as caught:
        save(**{"code": "R2", **changes})
    assert caught.value.field == field
    assert RivetRow.objects.count() == 1


@pytest.mark.parametrize(
    ("facts", "field", "text"),
    [
        ({"kind": "part"}, "rivet", "is of kind part: name a rivet"),
        ({"kind": "rivet", "unit": "kg"}, "rivet", "is counted in kg, holes in ea"),
        ({"kind": "rivet", "code": "CHERRY"}, "rivet", "the diameter of CHERRY is not known, so neither is its cleco"),
        ({"kind": "rivet", "diameter": Fraction(3, 32)}, "cleco_every", "no cleco of 3/32 in is in the catalogue"),
    ],
)
def test_row_of_another_item_is_refused_as_when_loading(workshop, save, facts, field, text):
    with pytest.raises(FieldProblem, match=text) as caught:
        save(rivet=factories.ItemFactory(workshop=workshop, **facts))
    assert caught.value.field == field


def test_row_with_two_clecos_of_its_size_is_refused(workshop, save, cleco):
    factories.ItemFactory(workshop=workshop, code="CLECO-4S", kind="cleco", diameter=Fraction(1, 8))
    with pytest.raises(FieldProblem, match=r"several clecos are of 1/8 in \(CLECO-4, CLECO-4S\)"):
        save()
    assert save(cleco_every=None).cleco is None


def test_row_frees_its_clecos_in_its_own_project_alone(save, bench):
    elsewhere = factories.StepFactory(project=factories.ProjectFactory(bench=bench))
    with pytest.raises(FieldProblem, match="no step of this project"):
        save(clecos_until=elsewhere)


def test_row_of_a_done_step_stays(row, save, step, builder):
    step.done = True
    step.save()
    for write in (lambda: save(code="R2"), lambda: save(row=row, holes=1), lambda: services.remove_row(row=row, by=builder)):
        with pytest.raises(services.StepDone, match="F3-05 is done: take it back before you change its rows"):
            write()
    assert RivetRow.objects.get().holes == 84


def test_row_removed_meanwhile_is_not_changed(row, save, builder):
    services.remove_row(row=RivetRow.objects.get(), by=builder)
    for write in (lambda: save(row=row, holes=1), lambda: services.remove_row(row=row, by=builder)):
        with pytest.raises(services.Gone, match="row R1 is no longer in F3-05"):
            write()


def test_row_is_not_the_outsider_s_to_write_nor_of_their_items(row, save, outsider):
    with scopes_disabled():
        foreign = Item.objects.filter(workshop=outsider).first()
        stranger = outsider.members.first()
    with pytest.raises(NotAllowed):
        save(code="R2", by=stranger)
    with pytest.raises(NotAllowed):
        services.remove_row(row=row, by=stranger)
    with pytest.raises(NotAllowed):
        save(code="R2", rivet=foreign)


@pytest.mark.parametrize("role", ["owner", "storekeeper", "builder"])
def test_member_who_plans_adds_changes_and_removes_a_row(as_member, workshop, step, later, adding, typed, role):
    client = as_member(factories.MemberFactory(workshop=workshop, role=role))
    back = reverse("step", args=[step.project.code, step.code])
    assert f'href="{adding}"' in words(client.get(back))
    answer = client.post(adding, typed)
    assert (answer.status_code, answer.url) == (HTTPStatus.FOUND, back)
    row = RivetRow.objects.get()
    assert (row.rivet.code, row.grip, row.cleco.code, row.clecos_until) == ("MS20470AD4-6", Fraction(3, 16), "CLECO-4", later)

    here = reverse("row", args=[row.pk])
    assert f'href="{here}"' in words(client.get(back))
    shown = client.get(here).context["form"]
    assert [shown[name].value() for name in typed] == ["R1", "MS20470AD4-6", 84, "0.1875", 3, later.pk]
    client.post(here, {**typed, "holes": "90", "grip": ".1875", "cleco_every": "", "clecos_until": ""})
    row.refresh_from_db()
    assert (row.holes, row.grip, row.cleco, row.clecos_until) == (90, Fraction(3, 16), None, None)

    assert "Row R1 is removed." in words(client.post(reverse("remove-row", args=[row.pk]), follow=True))
    assert not RivetRow.objects.exists()


@pytest.mark.parametrize("role", ["inspector", "reader"])
def test_member_who_does_not_plan_is_offered_and_let_do_nothing(as_member, workshop, row, step, adding, typed, role):
    client = as_member(factories.MemberFactory(workshop=workshop, role=role))
    here = reverse("row", args=[row.pk])
    page = words(client.get(reverse("step", args=[step.project.code, step.code])))
    assert adding not in page
    assert here not in page
    for answer in (client.get(adding), client.post(adding, typed), client.get(here), client.post(here, {**typed, "holes": "1"})):
        assert answer.status_code == HTTPStatus.FORBIDDEN
    assert client.post(reverse("remove-row", args=[row.pk])).status_code == HTTPStatus.FORBIDDEN
    assert RivetRow.objects.get().holes == 84


@pytest.mark.parametrize(
    ("wrong", "text"),
    [
        ({"code": ""}, "required"),
        ({"rivet": "NOPE"}, "NOPE is no code of the catalogue."),
        ({"rivet": "OUTSIDE-ITEM"}, "OUTSIDE-ITEM is no code of the catalogue."),
        ({"rivet": "CLECO-4"}, "CLECO-4 is of kind cleco: name a rivet"),
        ({"rivet": "MS20426AD3-3.5"}, "is no code of the catalogue."),
        ({"holes": "1.5"}, "whole number"),
        ({"holes": "0"}, "greater than or equal to 1"),
        ({"grip": "1/0"}, "Write the size as 1/8 or 0.125."),
        ({"grip": "-1/8"}, "Write the size as 1/8 or 0.125."),
        ({"grip": "1e9"}, "Write the size as 1/8 or 0.125."),
        ({"grip": "0"}, "Give more than 0"),
        ({"grip": "120"}, "check its unit"),
        ({"cleco_every": "0"}, "greater than or equal to 1"),
        ({"clecos_until": "999999"}, "Select a valid choice"),
    ],
)
def test_wrong_row_is_told_at_its_field_with_all_that_was_typed(as_member, builder, adding, typed, wrong, text):
    answer = as_member(builder).post(adding, {**typed, **wrong})
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    form = answer.context["form"]
    [field] = wrong
    assert [*form.errors] == [field]
    assert text in form.errors[field][0]
    assert {name: form[name].value() for name in typed} == {**typed, **wrong}
    assert not RivetRow.objects.exists()


def test_row_twice_is_told_at_its_code(as_member, builder, row, adding, typed):
    answer = as_member(builder).post(adding, {**typed, "code": "r1"})
    assert "r1 is a row of F3-05 already" in answer.context["form"].errors["code"][0]


@pytest.mark.parametrize(("typed_stage", "every"), [("", None), ("?stage=fit_up", 4), ("?stage=match_drill", 2), ("?stage=lunch", None)])
def test_adding_starts_with_the_workshop_s_spacing_of_a_stage_or_blank(as_member, builder, workshop, adding, typed_stage, every):
    ClecoSpacing.objects.create(workshop=workshop, stage="fit_up", every=4)
    page = as_member(builder).get(adding + typed_stage)
    assert page.context["form"]["cleco_every"].value() == every
    assert "first fit-up (1 hole in 4)" in words(page)


def test_length_that_differs_is_a_question_and_corrects_nothing(as_member, builder, workshop, adding, typed):
    client = as_member(builder)
    page = words(client.post(adding, {**typed, "grip": "1/16"}, follow=True))
    assert "Question of row R1: The plans call for MS20470AD4-6, 6/16 in; a grip of 0.0625 in gives 4/16 in" in page
    assert RivetRow.objects.get().rivet.code == "MS20470AD4-6"

    assert "Question of row" not in words(client.post(adding, {**typed, "code": "R2"}, follow=True))
    workshop.rivet_rounding = "nearest_half"
    workshop.save()
    asked = "Question of row R3: The plans call for MS20470AD4-6, 6/16 in; a grip of 0.0625 in gives 4/16 in (nearest_half)"
    assert asked in words(client.post(adding, {**typed, "code": "R3", "grip": "1/16"}, follow=True))


def test_done_step_s_rows_say_why_they_stay(as_member, builder, row, step, adding, typed):
    step.done = True
    step.save()
    client, here = as_member(builder), reverse("row", args=[row.pk])
    assert adding not in words(client.get(reverse("step", args=[step.project.code, step.code])))
    for answer in (client.get(adding), client.get(here), client.post(reverse("remove-row", args=[row.pk]))):
        assert answer.status_code == HTTPStatus.CONFLICT
        assert "F3-05 is done: take it back before you change its rows" in words(answer)
    answer = client.post(here, {**typed, "holes": "7"})
    assert answer.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
    assert "F3-05 is done" in answer.context["form"].non_field_errors()[0]
    assert answer.context["form"]["holes"].value() == "7"
    assert RivetRow.objects.get().holes == 84


def test_row_s_page_takes_the_same_queries_whatever_the_plan_holds(queries_of, builder, row, project, workshop):
    few = queries_of(builder, reverse("row", args=[row.pk]))
    for code in range(8):
        factories.StepFactory(project=project)
        factories.ItemFactory(workshop=workshop, code=f"R-{code}", kind="rivet")
    assert queries_of(builder, reverse("row", args=[row.pk])) == few
