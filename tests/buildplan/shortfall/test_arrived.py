"""What crates that are here give: as much while they are counted as once all of it is put away and counting is closed."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from buildplan.shortfall import queries
from buildplan.shortfall.trace import why
from buildplan.shortfall.weeks import weeks
from inventory.models import Bag, Crate, Item, PackingLine, Place
from inventory.receiving import services as receiving
from inventory.shelflife.calc import StatedDate
from inventory.tallying import services as tallying
from tests import factories

TODAY = date(2027, 2, 20)
ARRIVED = TODAY - timedelta(days=1)
DUE = TODAY + timedelta(days=40)
NEED, LATER = TODAY + timedelta(days=1), TODAY + timedelta(days=30)
NINE = datetime(2027, 2, 20, 9, tzinfo=UTC)
LABELS = (("", None), ("S1", StatedDate(TODAY + timedelta(days=10), "day")), ("S2", StatedDate(TODAY + timedelta(days=200), "day")))


@pytest.fixture
def crate(bench):
    """It arrived yesterday, and was due long after the need."""
    return factories.CrateFactory(bench=bench, code="CRATE-7", due_on=DUE, arrived_on=ARRIVED)


@pytest.fixture
def bag(crate, workshop):
    return Bag.objects.create(workshop=workshop, crate=crate, name="7", path="7")


@pytest.fixture
def line(crate, bag, item, project):
    """10 ea listed; a step needs 10 tomorrow, another 5 later."""
    for day, quantity in ((NEED, 10), (LATER, 5)):
        factories.CallOutFactory(step=factories.StepFactory(project=project, planned_on=day), item=item, quantity=Decimal(quantity))
    return factories.PackingLineFactory(crate=crate, bag=bag, item=item, number="1", quantity=Decimal(10))


@pytest.fixture
def count(crate, bag, line, owner):
    """Count some of the line, or of something else."""

    def count(quantity, finding="good", **more):
        asked = {"crate": crate, "bag": bag, "line": line, "at": NINE, "by": owner, **more}
        return tallying.tally(quantity=Decimal(quantity), finding=finding, **asked)

    return count


def line_of(project, as_of=TODAY):
    (found,) = queries.shortfall([project], before=None, as_of=as_of).lines
    return found


def figures(found):
    """Needed, usable, in transit, short, and what doesn't count."""
    totals = tuple(map(int, (found.needed, found.usable, found.in_transit, found.short)))
    return *totals, {reason.value: int(quantity) for reason, quantity in found.unusable}


def texts(found):
    return [reason.text for reason in why(found)]


def test_crate_that_arrived_serves_from_that_day_whatever_day_it_was_due(project, line):
    assert figures(line_of(project)) == (15, 0, 10, 5, {})
    assert "crate CRATE-7, line 1: 10 ea listed, 10 still to count: gives 10 ea" in texts(line_of(project))
    assert any(f"crate CRATE-7 (arrived {ARRIVED}, still to count) gives 10 ea" in text for text in texts(line_of(project)))


def test_crate_that_arrived_without_a_due_day_is_not_late(project, crate, line):
    Crate.objects.update(due_on=None)

    assert figures(line_of(project)) == (15, 0, 10, 5, {})


def test_before_its_arrival_a_crate_serves_nothing(project, line):
    assert line_of(project, as_of=ARRIVED - timedelta(days=9)).first_short == LATER


def test_damaged_is_disputed_and_no_supply(project, count):
    count(10, "damaged")

    found = line_of(project)
    assert figures(found) == (15, 0, 0, 15, {"disputed": 10})
    assert "crate CRATE-7, line 1: 10 ea listed, 10 damaged: gives 0 ea" in texts(found)
    assert f"crate CRATE-7 (arrived {ARRIVED}, counted): 10 ea don't count, disputed with its sender" in texts(found)


def test_good_serves_at_once_and_the_rest_is_still_to_count(project, count):
    count(4)

    found = line_of(project)
    assert figures(found) == (15, 0, 10, 5, {})
    assert "crate CRATE-7, line 1: 10 ea listed, 4 counted good, 6 still to count: gives 10 ea" in texts(found)
    assert [int(quantity) for _, supply, quantity in found.served if "still to count" in supply.where] == [6]


def test_wrong_stands_in_for_a_good_one(project, count, workshop):
    count(3, "wrong", item=factories.ItemFactory(workshop=workshop))

    assert figures(line_of(project)) == (15, 0, 7, 8, {})


def test_over_counts_as_the_receipt_books_it(project, count):
    count(12)

    assert figures(line_of(project)) == (15, 0, 12, 3, {})


def test_what_a_finished_bag_lacks_is_short_at_once(project, bag, line, owner):
    tallying.finish_bag(bag=bag, on=TODAY, by=owner)

    found = line_of(project)
    assert figures(found) == (15, 0, 0, 15, {})
    assert "crate CRATE-7, line 1: 10 ea listed, 10 short: gives 0 ea" in texts(found)
    tallying.reopen_bag(bag=bag, by=owner)
    assert figures(line_of(project)) == (15, 0, 10, 5, {})


def test_count_that_is_undone_counts_no_more(project, count, bag, owner):
    tallying.undo(tally=count(10, "damaged"), by=owner, at=NINE)

    assert figures(line_of(project)) == (15, 0, 10, 5, {})


def test_what_the_list_does_not_have_serves_once_it_is_counted(project, count, item, crate, bag):
    PackingLine.objects.filter(crate=crate).delete()
    count(2, line=None, item=item)
    count(1, "damaged", line=None, item=item)

    found = line_of(project)
    assert figures(found) == (15, 0, 2, 13, {"disputed": 1})
    assert any(f"crate CRATE-7 (arrived {ARRIVED}, counted, not on its list) gives 2 ea" in text for text in texts(found))


def test_counted_without_a_word_that_it_arrived_is_here_and_the_rest_comes_on_its_due_day(project, count):
    Crate.objects.update(arrived_on=None)
    count(4)

    assert figures(line_of(project)) == (15, 0, 4, 11, {"late": 6})


def test_what_can_die_and_was_counted_without_a_date_is_of_unknown_life(project, count, item):
    Item.objects.filter(pk=item.pk).update(kind="sealant")
    assert figures(line_of(project)) == (15, 0, 10, 5, {})  # nobody has read its label yet
    count(4)

    assert figures(line_of(project)) == (15, 0, 6, 9, {"unknown_life": 4})


def test_label_that_was_read_says_how_long_it_serves(project, count, item):
    Item.objects.filter(pk=item.pk).update(kind="sealant")
    count(10, lot_code="S1", expires=LABELS[1][1])

    assert figures(line_of(project)) == (15, 0, 10, 5, {})
    assert line_of(project).first_short == LATER


def test_what_came_as_listed_and_was_counted_after_is_not_there_twice(project, line, count, drawer, owner):
    receiving.arrive(line=line, quantity=Decimal(6), place=drawer, on=TODAY, by=owner)
    assert figures(line_of(project)) == (15, 6, 4, 5, {})
    count(9)

    assert figures(line_of(project)) == (15, 6, 4, 5, {})


def test_given_up_is_not_looked_for(project, line, count, owner):
    receiving.cancel_rest(line=line, by=owner)
    count(3)

    assert figures(line_of(project)) == (15, 0, 3, 12, {})


def test_other_bench_s_crate_stays_its_own(project, count, crate, other_bench):
    count(4)
    count(1, line=None, item=count(1).item)
    Crate.objects.filter(pk=crate.pk).update(bench=other_bench)

    assert figures(line_of(project)) == (15, 0, 0, 15, {})


def test_order_by_item_and_by_plan_agree(project, count, item):
    count(4)
    count(2, "damaged")
    ((_, alone),) = queries.shortfall_of({item.pk}, before=None, as_of=TODAY).found

    assert alone.lines == (line_of(project),)
    assert queries.line_of([project], item.pk, before=None, as_of=TODAY) == line_of(project)


@pytest.mark.parametrize("many", [1, 30])
def test_counts_take_one_query_however_many(project, count, crate, bag, workshop, many, django_assert_num_queries):
    for at in range(many):
        item = factories.ItemFactory(workshop=workshop)
        line = factories.PackingLineFactory(crate=crate, bag=bag, item=item, number=f"N{at}")
        count(4, line=line)
        count(1, "damaged", line=line)
        count(1, line=None, item=factories.ItemFactory(workshop=workshop))
    with django_assert_num_queries(17):
        assert len(queries.shortfall([project], before=None, as_of=TODAY).lines) == 1


# However it was counted

ACTS = ("good", "good", "damaged", "wrong", "other", "beyond", "spoiled", "correct", "undo", "put away", "arrive", "give up", "mystery")
acts = st.lists(st.tuples(st.sampled_from(ACTS), st.integers(0, 2), st.integers(1, 12), st.sampled_from(LABELS)), max_size=9)


@pytest.fixture
def scene(project, bench, workshop, owner):
    return Scene(project, bench, workshop, owner)


few = settings(max_examples=5, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)


@few
@given(acts=acts)
@example(acts=[("arrive", 0, 10, LABELS[0]), ("good", 0, 12, LABELS[0]), ("good", 1, 3, LABELS[1])])
@example(acts=[("good", 1, 8, LABELS[1]), ("good", 1, 2, LABELS[2]), ("correct", 1, 5, LABELS[0]), ("damaged", 1, 4, LABELS[1])])
@example(acts=[("beyond", 2, 4, LABELS[0]), ("spoiled", 0, 2, LABELS[0]), ("wrong", 0, 3, LABELS[0]), ("damaged", 0, 9, LABELS[0])])
def test_shortfall_is_the_same_before_and_after_closing_and_putting_away(acts, scene):
    """With every bag finished: what is still looked for is given up by closing, and that is a difference."""
    with transaction.atomic():
        scene.do(acts)
        tallying.finish_bag(bag=scene.bag, on=TODAY, by=scene.owner)
        counted = scene.answer()
        tallying.close(crate=scene.crate, on=TODAY, by=scene.owner)
        assert scene.answer() == counted
        scene.put_away()
        assert scene.answer() == counted
        assert not PackingLine.objects.filter(crate=scene.crate, open_quantity__gt=0).exists()
        transaction.set_rollback(True)


@few
@given(acts=acts)
@example(acts=[("arrive", 0, 4, LABELS[0]), ("wrong", 0, 3, LABELS[0]), ("good", 0, 2, LABELS[0])])
def test_putting_away_while_counting_changes_nothing_of_what_is_short(acts, scene):
    with transaction.atomic():
        scene.do(acts)
        counted = scene.answer()
        scene.put_away()
        assert scene.answer() == counted
        transaction.set_rollback(True)


class Scene:
    """A crate with a part, a sealant and a cleco, each needed on two days, and so is a part that it doesn't list."""

    def __init__(self, project, bench, workshop, owner):
        self.project, self.owner, self.made = project, owner, []
        self.crate = factories.CrateFactory(bench=bench, due_on=DUE, arrived_on=ARRIVED)
        self.bag = Bag.objects.create(workshop=workshop, crate=self.crate, name="1", path="1")
        self.place = Place.objects.filter(workshop=workshop, end="storage").first() or factories.PlaceFactory(workshop=workshop)
        self.items = [factories.ItemFactory(workshop=workshop, kind=kind) for kind in ("part", "sealant", "cleco", "part")]
        self.lines = [
            factories.PackingLineFactory(crate=self.crate, bag=self.bag, item=item, number=str(at), quantity=Decimal(10))
            for at, item in enumerate(self.items[:-1])
        ]
        for day in (NEED, LATER):
            step = factories.StepFactory(project=project, planned_on=day)
            for item in self.items:
                factories.CallOutFactory(step=step, item=item, quantity=Decimal(9))
        for item, (code, expires) in zip(self.items[:2], LABELS[1:], strict=True):
            lot = factories.LotFactory(bench=bench, item=item, code=code, expires_on=expires.last_day, expires_as=expires.precision)
            factories.stock(lot, 2, self.place, owner)

    def do(self, acts):
        """One after the other, to a crate that nothing was done to yet."""
        self.made = []
        for act, which, quantity, label in acts:
            self.act(act, which, Decimal(quantity), label)

    def act(self, act, which, quantity, label):
        """One thing that somebody does to a line. What the services refuse is left out."""
        line = PackingLine.objects.select_related("crate__bench", "item", "bag").get(pk=self.lines[which].pk)
        code, expires = label
        said = {"by": self.owner, "lot_code": code, "expires": expires}
        count = {"crate": self.crate, "bag": self.bag, "quantity": quantity, "at": NINE, **said}
        if act in {"good", "damaged", "wrong"}:
            self.made.append(tallying.tally(line=line, finding=act, **count))
        elif act == "other":
            tallying.tally(line=line, item=self.items[which - 1], finding="wrong", **count)
        elif act in {"beyond", "spoiled"}:
            tallying.tally(item=self.items[-1], finding="good" if act == "beyond" else "damaged", **count)
        elif act == "mystery":
            tallying.tally(finding="mystery", **count)
        elif act == "correct":
            self.tried(lambda: tallying.correct(line=line, counted=quantity, at=NINE, **said))
        elif act == "undo" and self.made:
            self.tried(lambda: tallying.undo(tally=self.made[which % len(self.made)], by=self.owner, at=NINE))
        elif act == "put away":
            self.put_away()
        elif act == "arrive":
            self.tried(lambda: receiving.arrive(line=line, quantity=quantity, place=self.place, on=TODAY, **said))
        elif act == "give up":
            self.tried(lambda: receiving.cancel_rest(line=line, by=self.owner))

    def put_away(self):
        """All that waits."""
        self.tried(lambda: tallying.put_away(crate=self.crate, place=self.place, on=TODAY, by=self.owner))

    def tried(self, act):
        """Refused is refused."""
        try:
            with transaction.atomic():
                act()
        except tallying.Problem:
            pass

    def answer(self):
        """All that a line of the order sheet says, save where it comes from: short, when, what to buy, what doesn't count, the weeks."""
        found = {line.item.code: line for line in queries.shortfall([self.project], before=None, as_of=TODAY).lines}
        return {
            item.code: (
                (line.needed, line.usable + line.in_transit, line.short, line.first_short, line.last_short, line.order_by, line.buy),
                line.unusable,
                line.missing,
                weeks(line),
            )
            for item in self.items
            for line in (found[item.code],)
        }
