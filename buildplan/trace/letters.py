"""Letters to the members whom a notice concerns: what the maker says, and what of theirs it means. They order and approve nothing."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from datetime import date

from buildplan.trace.calc import Verdict
from buildplan.trace.models import Notice, Task
from inventory.claims.calc import Letter, Row
from inventory.models import BenchHolder, Member

DECIDES = "What is to be done is for the maker's notice to say. This letter approves nothing and grounds nothing: it names what to look at."
ASKS = "Please look at each line, and tick it on the page of the notice with what you found, or tell us."
HEADS = ("Quantity", "It is")
MOST_TEXT = 1500  # characters of the notice that a letter quotes


def concerned(tasks: Iterable[Task]) -> dict[int, list[Task]]:
    """The tasks of each member: of who has the loan, else of who holds the bench, else of who keeps the workshop. Two queries."""
    holders: dict[int, list[int]] = defaultdict(list)
    for bench, member in BenchHolder.objects.filter(member__active=True).order_by("pk").values_list("bench_id", "member_id"):
        holders[bench].append(member)
    keepers = list(Member.objects.filter(active=True, role="owner").order_by("pk").values_list("pk", flat=True))
    found: dict[int, list[Task]] = defaultdict(list)
    for task in tasks:
        whose = [task.holder_id] if task.holder_id else holders.get(task.bench_id or 0) or keepers
        for member in whose:
            found[member].append(task)
    return dict(found)


def compose(notice: Notice, tasks: Sequence[Task], *, to: Member, on: date, by: Member) -> Letter:
    """The letter to one member, as it is written on a day."""
    text = notice.text if len(notice.text) <= MOST_TEXT else f"{notice.text[:MOST_TEXT]} ..."
    return Letter(
        subject=f"Notice {notice.reference}: {notice.title}",
        sent_by=(by.workshop.name,),
        to=(to.name,),
        day=str(on),
        facts=tuple(_facts(notice)),
        opening=f"{notice.maker or 'The maker'} writes: {' '.join(text.split())}",
        heads=HEADS,
        rows=tuple(_row(task) for task in tasks),
        photos=(),
        closing=(_why(tasks), ASKS, DECIDES, by.name, by.workshop.name),
    )


def _facts(notice: Notice) -> Iterable[tuple[str, str]]:
    known: Mapping[str, str] = {
        "Maker": notice.maker,
        "Notice": notice.reference,
        "Issued on": str(notice.issued_on),
        "Items": ", ".join(row.item.code for row in notice.items.select_related("item").order_by("item__code")),
        "Lot codes": ", ".join(notice.codes),
        "Made": span(notice.made_from, notice.made_to),
        "Packed": span(notice.packed_from, notice.packed_to),
    }
    return [(name, value) for name, value in known.items() if value]


def span(first: date | None, last: date | None) -> str:
    """A period in words; blank where there is none."""
    if first and last:
        return f"{first} to {last}"
    return f"from {first} on" if first else f"up to {last}" if last else ""


def _row(task: Task) -> Row:
    facts = task.facts
    why = task.reasons[0]["text"] if task.reasons else ""
    amount = f"{facts.get('quantity', '')} {facts.get('unit', '')}".strip()
    return Row(facts.get("item", ""), facts.get("name", ""), task.text, (amount, task.verdict), why)


def _why(tasks: Iterable[Task]) -> str:
    if all(task.verdict == Verdict.AFFECTED for task in tasks):
        return "Each of these is affected."
    return "Where it says possibly, lot or date is not known, or nobody can tell which lot went there: that was not guessed."
