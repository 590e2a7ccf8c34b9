"""A step's page: what it proposes, what finishing and taking back do, what it says when something is wrong."""

from datetime import date
from decimal import Decimal
from fractions import Fraction
from http import HTTPStatus

import pytest
import time_machine
from django.urls import reverse

from buildplan.models import Finish
from buildplan.records import services
from inventory.models import Lot
from inventory.stock.queries import on_hand
from tests import factories
from tests.factories import DAY


@pytest.fixture(autouse=True)
def today():
    with time_machine.travel(DAY, tick=False):
        yield


@pytest.fixture
def url(step):
    return reverse("step", args=[step.project.code, step.code])


@pytest.fixture
def take(lot, drawer):
    return f"take-{lot.pk}-{drawer.pk}"


def words(page):
    return " ".join(page.content.decode().split())


class TestOpenStep:
    def test_step_proposes_lot_place_and_quantity(self, as_member, builder, url, stocked, take, lot, drawer):
        page = words(as_member(builder).get(url))

        assert f"Lot {lot.code} in {drawer.path}" in page
        assert "130 ea there" in page
        assert f'name="{take}" value="100"' in page
        assert f'value="{DAY}"' in page

    def test_step_says_what_is_short(self, as_member, builder, url, wanted):
        assert "100 ea short:" in words(as_member(builder).get(url))

    def test_step_lists_what_comes_back_without_a_box(self, as_member, builder, url, step, workshop):
        cleco = factories.ItemFactory(workshop=workshop, code="CLECO-3", kind="cleco")
        factories.CallOutFactory(step=step, item=cleco, quantity=Decimal(40))

        page = words(as_member(builder).get(url))
        assert "comes back after the step" in page
        assert "CLECO-3" in page
        assert "take-" not in page

    def test_step_warns_of_what_is_not_done_before_it(self, as_member, builder, url, step):
        before = factories.StepFactory(project=step.project, code="F3-04", title="Mask the seams")
        factories.StepFactory(project=step.project, code="F3-06", after=[step])
        step.afters.create(workshop=step.workshop, after=before)

        page = words(as_member(builder).get(url))
        assert "Not everything before it is done:" in page
        assert "F3-04 Mask the seams" in page
        assert "F3-06" in page

    def test_step_shows_cautions_for_what_comes_in_a_can(self, as_member, builder, url, step, workshop, wanted):
        client = as_member(builder)
        assert "Before you open a can" not in words(client.get(url))

        factories.CallOutFactory(step=step, item=factories.ItemFactory(workshop=workshop, kind="sealant"))
        assert "Before you open a can" in words(client.get(url))

    def test_step_says_who_comes_first(self, as_member, builder, url):
        assert "it never approves an aeroplane" in words(as_member(builder).get(url))

    def test_step_shows_a_reader_the_needs_and_no_form(self, as_member, reader, url, stocked):
        page = words(as_member(reader).get(url))

        assert "100 ea" in page
        assert "Finish it" not in page

    def test_step_takes_the_same_queries_whatever_it_needs(self, queries_of, builder, url, step, bench):
        def grow():
            item = factories.ItemFactory(workshop=bench.workshop)
            factories.CallOutFactory(step=step, item=item, quantity=Decimal(2))
            factories.stock(factories.LotFactory(bench=bench, item=item), 1)
            factories.StepFactory(project=step.project, after=[step])

        grow()
        few = queries_of(builder, url)
        for _ in range(12):
            grow()
        assert queries_of(builder, url) == few


class TestBench:
    @pytest.fixture
    def furnished(self, step, workshop, bench, drawer):
        """A row that asks a question, a seam, and sealant for it."""
        rivet = factories.ItemFactory(workshop=workshop, code="MS20470AD4-6", kind="rivet", diameter=Fraction(1, 8))
        cleco = factories.ItemFactory(workshop=workshop, code="CLECO-4", kind="cleco", diameter=Fraction(1, 8))
        known = {"gravity": Decimal("1.55"), "base": Decimal(100), "accelerator": Decimal(10)}
        sealant = factories.ItemFactory(workshop=workshop, code="SEAL-B2", kind="sealant", unit="g", **known)
        factories.RivetRowFactory(step=step, code="KEEL", rivet=rivet, holes=40, grip=Fraction(1, 4), cleco=cleco, cleco_every=3)
        factories.SeamFactory(step=step, code="CHINE", sealant=sealant)
        factories.stock(factories.LotFactory(bench=bench, item=sealant, code="S1", expires_on=date(2027, 6, 1)), 100, drawer)
        return step

    SAID = {"people": "2", "pace": "20", "temperature": "77 F", "division": "0.01", "life-SEAL-B2": "0.5"}

    @pytest.fixture
    def sheet(self, step):
        return reverse("step-sheet", args=[step.project.code, step.code])

    @pytest.mark.parametrize("page", ["step", "step-sheet"])
    def test_page_shows_rivets_at_true_size_with_a_ruler(self, as_member, reader, furnished, page):
        found = words(as_member(reader).get(reverse(page, args=["TERN-1", "F3-05"])))

        assert '<svg class="bar" width="9.525mm" height="3.175mm" viewBox="0 0 9.525 3.175"' in found
        assert "Check ruler: 50 mm above the line, 2 in below it" in found
        assert "The call-out on the plans wins: is the grip right?" in found
        assert "14" in found
        assert "(copper)" in found or "(usually copper)" in found

    @pytest.mark.parametrize("page", ["step", "step-sheet"])
    def test_page_defers_and_cautions(self, as_member, reader, furnished, page):
        found = words(as_member(reader).get(reverse(page, args=["TERN-1", "F3-05"])))

        assert "it never approves an aeroplane" in found
        assert "The kit's plans come first" in found.replace("&#x27;", "'")
        assert "isocyanate hardeners sensitise" in found
        assert "Edge distance at least 2 D".lower() in found.lower()

    @pytest.mark.parametrize("page", ["step", "step-sheet"])
    def test_page_weighs_out_batches_as_the_address_says(self, as_member, reader, furnished, page):
        found = words(as_member(reader).get(reverse(page, args=["TERN-1", "F3-05"]), self.SAID))

        assert "12.682" in found  # of base in each of two batches of 13.95 g
        assert "S1" in found

    def test_step_keeps_what_was_said_and_says_what_does_not_read(self, as_member, reader, furnished, url):
        found = as_member(reader).get(url, {**self.SAID, "temperature": "77"})

        assert found.status_code == HTTPStatus.OK
        assert "Is it F or C: write 77 F or 25 C." in words(found)
        assert 'name="people" value="2"' in words(found)

    def test_step_refuses_a_temperature_that_no_metal_has(self, as_member, reader, furnished, url):
        found = as_member(reader).get(url, {**self.SAID, "temperature": "900 C"})

        assert "from -130 to 194: past that it is a slip, as in the temperature log." in words(found)
        assert 'value="900 C"' in words(found)
        asked = {**self.SAID, "step": furnished.code, "temperature": "900 C"}
        refused = as_member(reader).get(f"/api/v1/projects/{furnished.project.code}/step", asked)
        assert refused.status_code == HTTPStatus.BAD_REQUEST
        assert "past that it is a slip" in refused.json()["errors"]["temperature"][0]

    def test_step_without_a_gravity_still_opens_and_says_so(self, as_member, builder, furnished, url, sheet):
        seam = furnished.seams.get()
        seam.sealant.gravity = seam.sealant.accelerator = None
        seam.sealant.save()

        for address in (url, sheet):
            found = words(as_member(builder).get(address, self.SAID))
            assert "gravity: not known: read it off the data sheet" in found
        assert "not known: read it off the data sheet; a product of one part has none" in words(as_member(builder).get(url))

    def test_step_stops_at_a_temperature_that_sealant_does_not_stand(self, as_member, reader, furnished, url, sheet):
        for address in (url, sheet):
            assert "stop: 50 F is outside 70 F to below 100 F" in words(
                as_member(reader).get(address, {**self.SAID, "temperature": "10 C"}),
            ).replace("Stop: 50", "stop: 50")

    def test_done_step_shows_its_rows_and_seams_without_a_form(self, as_member, builder, furnished, url, sheet):
        furnished.done = True
        furnished.save()

        page = words(as_member(builder).get(url))
        assert "What it needed" in page
        assert "27.9 g" in page
        assert "Weigh out" not in page
        assert "Mix card" not in words(as_member(builder).get(sheet))

    def test_sheet_has_blanks_to_fill_in(self, as_member, reader, furnished, sheet):
        page = words(as_member(reader).get(sheet))

        for heading in ("Mixed g", "When", "Temp.", "Who", "Grams left"):
            assert f">{heading}</th>" in page

    def test_sheet_takes_no_post(self, as_member, builder, step, sheet):
        assert as_member(builder).post(sheet).status_code == HTTPStatus.METHOD_NOT_ALLOWED

    @pytest.mark.parametrize("page", ["step", "step-sheet"])
    def test_page_takes_the_same_queries_at_one_row_and_at_many(self, queries_of, builder, furnished, page, workshop):
        address = reverse(page, args=["TERN-1", "F3-05"])
        few = queries_of(builder, address)
        for _ in range(8):
            factories.RivetRowFactory(step=furnished, clecos_until=factories.StepFactory(project=furnished.project))
            factories.SeamFactory(step=furnished)
            factories.SealingSupplyFactory(workshop=workshop)
        assert queries_of(builder, address) == few


class TestFinish:
    def test_finish_takes_what_is_filled_in(self, as_member, builder, url, stocked, take, step, lot):
        answer = as_member(builder).post(url, {"on": "2027-02-19", take: "97.0", "note": "three drilled out"})

        assert answer.url == url
        step.refresh_from_db()
        assert (step.done_on, on_hand(lot), Finish.objects.get().note) == (date(2027, 2, 19), Decimal(33), "three drilled out")

    def test_finish_leaves_a_lot_with_nothing_filled_in(self, as_member, builder, url, stocked, take, lot, bench, item, drawer):
        other = factories.LotFactory(bench=bench, item=item)
        factories.stock(other, 10, drawer)

        as_member(builder).post(url, {"on": str(DAY), take: "100", f"take-{other.pk}-{drawer.pk}": ""})

        assert (on_hand(lot), on_hand(other)) == (30, 10)

    def test_finish_twice_is_told_and_takes_once(self, as_member, builder, url, stocked, take, lot):
        client = as_member(builder)
        for _ in range(2):
            page = client.post(url, {"on": str(DAY), take: "100"}, follow=True)

        assert "is done already: nothing was taken a second time" in words(page)
        assert on_hand(lot) == 30

    def test_finish_that_lost_a_race_is_told(self, as_member, builder, url, stocked, take, monkeypatch):
        def lose(**_):
            raise services.AlreadyDone("F3-05 is done already")

        monkeypatch.setattr(services, "finish_step", lose)
        page = as_member(builder).post(url, {"on": str(DAY), take: "100"}, follow=True)

        assert "is done already" in words(page)

    def test_finish_without_movements(self, as_member, builder, url, stocked, take, step, lot):
        as_member(builder).post(url, {"on": str(DAY), take: "", "without_movements": "on"})

        step.refresh_from_db()
        assert (step.done, on_hand(lot), Finish.objects.get().without_movements) == (True, 130, True)

    @pytest.mark.parametrize(
        ("given", "told"),
        [
            ({"take": "131"}, "holds 130 ea, and 131 ea were to be taken"),
            ({"take": ""}, "F3-05 needs stock"),
            ({"take": "100", "without_movements": "on"}, "give one or the other"),
            ({"take": "-1"}, "Give 0 or more"),
            ({"take": "0.0001"}, "no more than 3 decimal places"),
            ({"take": "a few"}, "Write the quantity in digits"),
            ({"take": "100", "on": "2027-02-21"}, "2027-02-21 is still to come"),
            ({"take": "100", "on": "yesterday"}, "Write the day as 2027-03-14"),
        ],
    )
    def test_finish_says_what_is_wrong_and_keeps_what_was_typed(self, as_member, builder, url, stocked, take, lot, given, told):
        data = {"on": str(DAY), "note": "typed with gloves", **given}
        data[take] = data.pop("take")

        page = as_member(builder).post(url, data)

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert told in words(page).replace("&#x27;", "'")
        assert "typed with gloves" in words(page)
        if data[take]:
            assert f'name="{take}" value="{data[take]}"' in words(page)
        assert on_hand(lot) == 130
        assert not Finish.objects.exists()

    def test_finish_refuses_a_lot_that_died_meanwhile_instead_of_dropping_it(self, as_member, builder, url, stocked, take, lot):
        Lot.objects.filter(pk=lot.pk).update(state="quarantined")

        page = as_member(builder).post(url, {"on": str(DAY), take: "100"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert "can&#x27;t serve on that day, or is used up meanwhile" in words(page)

    def test_finish_of_a_past_day_may_take_a_lot_that_is_dead_today(self, as_member, builder, url, stocked, take, lot):
        Lot.objects.filter(pk=lot.pk).update(expires_on=date(2027, 2, 10))

        as_member(builder).post(url, {"on": "2027-02-10", take: "100"})

        assert on_hand(lot) == 30

    def test_again_proposes_for_the_day_and_finishes_nothing(self, as_member, builder, url, stocked, take, lot):
        Lot.objects.filter(pk=lot.pk).update(expires_on=date(2027, 2, 10))
        client = as_member(builder)
        assert take not in words(client.get(url))

        page = client.post(url, {"on": "2027-02-10", "note": "late", "again": "1"})

        assert f'name="{take}" value="100"' in words(page)
        assert 'value="2027-02-10"' in words(page)
        assert not Finish.objects.exists()

    def test_finish_of_a_step_that_needs_nothing(self, as_member, builder, url, step):
        as_member(builder).post(url, {"on": str(DAY)})

        step.refresh_from_db()
        assert step.done

    def test_finish_refuses_a_reader(self, as_member, reader, url, stocked, take):
        assert as_member(reader).post(url, {"on": str(DAY), take: "100"}).status_code == HTTPStatus.FORBIDDEN

    def test_finish_never_takes_a_lot_of_another_workshop(self, as_member, builder, url, stocked, outsider):
        theirs = outsider.holdings.model._base_manager.get(workshop=outsider)

        page = as_member(builder).post(url, {"on": str(DAY), f"take-{theirs.lot_id}-{theirs.place_id}": "1"})

        assert page.status_code == HTTPStatus.UNPROCESSABLE_ENTITY
        assert not Finish.objects.exists()


class TestDoneStep:
    @pytest.fixture
    def done(self, as_member, builder, url, stocked, take):
        client = as_member(builder)
        client.post(url, {"on": str(DAY), take: "100"})
        return client

    @pytest.fixture
    def back(self, step):
        return reverse("take-back", args=[step.project.code, step.code])

    def test_done_step_shows_what_it_took(self, done, url, lot, drawer, builder):
        page = words(done.get(url))

        assert "Done Sat 2027-02-20" in page
        for part in ("100 ea", lot.code, drawer.path, builder.name):
            assert part in page

    def test_take_back_restores_and_says_so(self, done, url, back, step, lot):
        page = done.post(back, follow=True)

        step.refresh_from_db()
        assert (step.done, on_hand(lot)) == (False, 130)
        assert "is taken back" in words(page)
        assert "taken back 2027-02-20" in words(page)

    def test_take_back_twice_is_told(self, done, back, lot):
        done.post(back)

        page = done.post(back)
        assert page.status_code == HTTPStatus.CONFLICT
        assert "there are no movements to reverse" in words(page)
        assert on_hand(lot) == 130

    def test_take_back_takes_a_post(self, done, back):
        assert done.get(back).status_code == HTTPStatus.METHOD_NOT_ALLOWED

    def test_step_loaded_as_done_offers_nothing_to_take_back(self, as_member, builder, project):
        factories.StepFactory(project=project, code="F1-01", done=True)

        page = words(as_member(builder).get(reverse("step", args=["TERN-1", "F1-01"])))
        assert "It was loaded as done" in page
        assert "Take back:" not in page
