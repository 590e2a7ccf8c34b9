"""Reads of claims: what is left to claim and until when, the letters, and how far each has come."""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Count, Prefetch, Q, QuerySet, Sum
from django.utils import timezone

from inventory.claims import calc, letters
from inventory.claims.calc import Deadline, Letter
from inventory.claims.letters import Counted
from inventory.claims.models import Claim, ClaimLine, ClaimRule, ClaimState, Fault
from inventory.claims.replacements import Came, came_of
from inventory.common.fields import plain
from inventory.photos.models import Photo
from inventory.photos.queries import PhotoRow
from inventory.photos.queries import of as photos_of
from inventory.photos.services import path_of
from inventory.receiving.models import Crate, Sender
from inventory.tallying import queries as tallying
from inventory.tallying.models import Finding, Tally
from inventory.tallying.photos import ref_of_crate, ref_of_tally
from inventory.tallying.queries import Difference
from inventory.workshop.models import Member

COVERING = (ClaimState.DRAFT, ClaimState.SENT, ClaimState.CREDITED, ClaimState.REPLACED)  # what was refused is left to claim again

Key = tuple[int | None, int | None, str]
_POOLS: Mapping[str, str] = {Fault.SHORTAGE: "short", Fault.DAMAGE: "damaged", Fault.CONCEALED: "damaged", Fault.WRONG: "wrong"}
_FAULTS: Mapping[str, Fault] = {"short": Fault.SHORTAGE, "damaged": Fault.CONCEALED, "wrong": Fault.WRONG}


def key_of(line_id: int | None, item_id: int | None, fault: str) -> Key:
    """What must not be claimed twice: damage seen at delivery and damage found inside are of the same pieces."""
    return line_id, None if line_id else item_id, _POOLS[fault]


# What is left to claim


@dataclass(frozen=True, slots=True)
class Claimable:
    """A difference that a claim can name. `quantity` is what differs, `claimed` what claims cover of it."""

    line_id: int | None
    item_id: int
    item: str
    title: str
    unit: str
    bag: str
    number: str
    fault: Fault
    listed: Decimal
    good: Decimal
    damaged: Decimal
    wrong: Decimal
    quantity: Decimal
    claimed: Decimal

    @property
    def key(self) -> Key:
        """What makes it this one."""
        return key_of(self.line_id, self.item_id, self.fault)

    @property
    def left(self) -> Decimal:
        """How much no claim covers."""
        return calc.still_to_claim(self.quantity, [self.claimed])

    @property
    def name(self) -> str:
        """A name for its form."""
        return f"{'line' if self.line_id else 'item'}-{self.line_id or self.item_id}-{_POOLS[self.fault]}"


def claimable(crate: Crate, *, leave_out: int | None = None) -> list[Claimable]:
    """What was found short, damaged or wrong in a crate, claimed already or not. `leave_out` is a claim that isn't counted."""
    return list(_claimables(tallying.differences(crate), _claimed(crate, leave_out)))


def _claimed(crate: Crate, leave_out: int | None) -> dict[Key, Decimal]:
    """What claims cover. One query."""
    found: dict[Key, Decimal] = defaultdict(Decimal)
    lines = ClaimLine.objects.filter(claim__crate=crate, claim__state__in=COVERING).exclude(claim=leave_out)
    for line, item, fault, quantity in lines.values_list("line_id", "item_id", "claim__fault", "quantity"):
        found[key_of(line, item, fault)] += quantity
    return found


def _claimables(differences: Iterable[Difference], claimed: Mapping[Key, Decimal]) -> Iterator[Claimable]:
    """One for each way in which a line differs. What isn't listed counts over all bags; what nobody can name is no claim yet."""
    by_key: dict[Key, list[Difference]] = defaultdict(list)
    for one in differences:
        if one.item_id is not None and one.kind in _FAULTS:
            by_key[key_of(one.line_id, one.item_id, _FAULTS[one.kind])].append(one)
    for key, ones in by_key.items():
        first, quantity = ones[0], sum((one.quantity for one in ones), calc.NOTHING)
        good, damaged, wrong = (sum((getattr(one, name) for one in ones), calc.NOTHING) for name in ("good", "damaged", "wrong"))
        bags = ", ".join(dict.fromkeys(one.bag for one in ones))
        named = (first.line_id, first.item_id or 0, first.item, first.name, first.unit, bags, first.number, _FAULTS[first.kind])
        yield Claimable(*named, first.listed, good, damaged, wrong, quantity, claimed.get(key, calc.NOTHING))


# Clocks


@dataclass(frozen=True, slots=True)
class Clock:
    """How long a fault of a crate can be claimed, and how many differences wait for that. No `deadline`: no clock is known.

    No `fault`: nothing differs so far, and not one clock of the sender is known.
    """

    crate_id: int
    crate: str
    sender_id: int | None
    fault: Fault | None
    against: str
    source: str
    deadline: Deadline | None
    open: int
    drafts: int

    @property
    def last_day(self) -> date | None:
        """The last day to claim."""
        return self.deadline.last_day if self.deadline else None

    @property
    def days_left(self) -> int | None:
        """Days until then; below 0 it has lapsed."""
        return self.deadline.days_left if self.deadline else None

    @property
    def lapsed(self) -> bool:
        """Whether the last day is over."""
        return self.deadline is not None and self.deadline.lapsed


def rules_of(crate: Crate) -> dict[str, ClaimRule]:
    """The clocks of a crate's sender, by fault. One query."""
    return {rule.fault: rule for rule in ClaimRule.objects.filter(sender=crate.sender_id)} if crate.sender_id else {}


def last_day(crate: Crate, rule: ClaimRule | None) -> date | None:
    """The last day to claim; None where the clock isn't known or hasn't started."""
    if rule is None or crate.arrived_on is None:
        return None
    return calc.deadline(crate.arrived_on, rule.days, crate.arrived_on).last_day


def clocks(today: date, *, crate: Crate | None = None) -> list[Clock]:
    """The claim clocks of the workshop in scope that still matter, soonest first, unknown ones last; a fixed number of queries.

    Of a crate whose counting is open, each known clock runs, and each fault found has its clock, known or not. Of a closed one, those of
    faults that no sent claim covers, until they lapse. All of one `crate` where one is given.
    """
    rules = _rules()
    crates = [crate] if crate is not None else _running(rules, today)
    found = _differing(crates) if crates else {}
    told, drafts = _told(crates) if crates else ({}, {})
    made = [
        clock
        for one in crates
        for clock in _clocks(one, rules, _open(found.get(one.pk, {}), told.get(one.pk, {})), drafts, today)
        if crate is not None or _matters(one, clock)
    ]
    return sorted(made, key=lambda clock: (clock.last_day or date.max, clock.crate, clock.fault or ""))


def _rules() -> dict[int, dict[str, ClaimRule]]:
    found: dict[int, dict[str, ClaimRule]] = defaultdict(dict)
    for rule in ClaimRule.objects.all():
        found[rule.sender_id][rule.fault] = rule
    return found


def _running(rules: Mapping[int, Mapping[str, ClaimRule]], today: date) -> list[Crate]:
    """The crates that have arrived and are still counted, or are closed and within the longest clock."""
    longest = max((rule.days for one in rules.values() for rule in one.values()), default=0)
    recent = date.fromordinal(max(today.toordinal() - longest, 1))
    here = Crate.objects.filter(Q(closed_on=None) | Q(arrived_on__gte=recent), arrived_on__isnull=False)
    return list(here.select_related("sender").order_by("code"))


def _differing(crates: Iterable[Crate]) -> dict[int, dict[Key, Decimal]]:
    """How much differs in each of these crates, as `claimable` says of one. Two queries."""
    found: dict[int, dict[Key, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    for one in tallying.line_sums([crate.pk for crate in crates]):
        for pool, quantity in {"short": one.compared.short, "damaged": one.damaged, "wrong": one.wrong}.items():
            found[one.crate_id][one.line_id, None, pool] += quantity
    loose = Tally.objects.filter(crate__in=crates, line=None, item__isnull=False, finding__in=(Finding.DAMAGED, Finding.WRONG))
    for crate, item, pool, quantity in loose.values_list("crate_id", "item_id", "finding").annotate(Sum("quantity")).order_by():
        found[crate][None, item, pool] += quantity
    return found


def _told(crates: Iterable[Crate]) -> tuple[dict[int, dict[Key, Decimal]], dict[tuple[int, str], set[int]]]:
    """What sent claims cover, by crate; and the drafts by crate and fault. One query."""
    told: dict[int, dict[Key, Decimal]] = defaultdict(lambda: defaultdict(Decimal))
    drafts: dict[tuple[int, str], set[int]] = defaultdict(set)
    rows = ClaimLine.objects.filter(claim__crate__in=crates, claim__state__in=COVERING)
    columns = ("claim__crate_id", "claim_id", "claim__state", "claim__fault", "line_id", "item_id", "quantity")
    for crate, claim, state, fault, line, item, quantity in rows.values_list(*columns):
        if state == ClaimState.DRAFT:
            drafts[crate, fault].add(claim)
        else:
            told[crate][key_of(line, item, fault)] += quantity
    return told, drafts


def _open(found: Mapping[Key, Decimal], told: Mapping[Key, Decimal]) -> Counter[Fault]:
    """How many differences no sent claim covers, by fault."""
    return Counter(_FAULTS[key[2]] for key, quantity in found.items() if calc.still_to_claim(quantity, [told.get(key, calc.NOTHING)]))


def _clocks(
    crate: Crate,
    rules: Mapping[int, Mapping[str, ClaimRule]],
    waiting: Mapping[Fault, int],
    drafts: Mapping[tuple[int, str], Collection[int]],
    today: date,
) -> Iterator[Clock]:
    known = rules.get(crate.sender_id or 0, {})
    faults = [fault for fault in Fault if fault in known or fault in waiting or (crate.pk, fault) in drafts]
    for fault in faults:
        yield _clock(crate, fault, known.get(fault), waiting.get(fault, 0), len(drafts.get((crate.pk, fault), ())), today)
    if not faults and crate.closed_on is None:
        yield Clock(crate.pk, crate.code, crate.sender_id, None, "", "", None, 0, 0)


def _clock(  # noqa: PLR0913 - the parts of one clock
    crate: Crate, fault: Fault, rule: ClaimRule | None, count: int, drafts: int, today: date
) -> Clock:
    last = last_day(crate, rule)
    against = calc.addressee(rule.against if rule else "", crate.sender.name if crate.sender else "", crate.carrier)
    until = None if last is None else calc.until(last, today)
    return Clock(crate.pk, crate.code, crate.sender_id, fault, against, rule.source if rule else "", until, count, drafts)


def _matters(crate: Crate, clock: Clock) -> bool:
    """Whether a person can still do something about it."""
    waits = bool(clock.open or clock.drafts)
    return (waits and not (clock.lapsed and crate.closed_on)) or (crate.closed_on is None and not clock.lapsed)


# Senders


@dataclass(frozen=True, slots=True)
class SenderRow:
    """A sender with its clocks."""

    sender: Sender
    rules: tuple[ClaimRule, ...]
    crates: int


def senders() -> list[SenderRow]:
    """The senders of the workshop in scope by name. Two queries."""
    rules = Prefetch("rules", ClaimRule.objects.order_by("days", "fault"))
    rows = Sender.objects.annotate(count=Count("crates")).prefetch_related(rules).order_by("name")
    return [SenderRow(row, tuple(row.rules.all()), row.count) for row in rows]


def sender_names() -> list[str]:
    """The names to choose from. One query."""
    return list(Sender.objects.order_by("name").values_list("name", flat=True))


# Claims


@dataclass(frozen=True, slots=True)
class ClaimRow:
    """A claim in a list."""

    claim: Claim
    crate: str
    lines: int
    deadline: Deadline | None
    came: tuple[Came, ...]

    @property
    def told(self) -> str:
        """What has come of what was promised; nothing where nothing was."""
        if len(self.came) == 1:
            return str(self.came[0])
        days = [one.on for one in self.came if one.on is not None]
        whole = sum(one.came >= one.promised for one in self.came)
        return f"came on {max(days)}: {whole} of {len(self.came)} lines whole" if days else ""


def claims(today: date, *, crate: Crate | None = None) -> list[ClaimRow]:
    """The claims of the workshop in scope: drafts first, then what waits for an answer, by last day; then the answered, latest first."""
    rows = claim_rows().annotate(count=Count("lines"))
    found = list(rows if crate is None else rows.filter(crate=crate))
    came = came_of(found)
    shown = [_row(claim, came, today) for claim in found]
    return sorted(shown, key=_order)


def _row(claim: Claim, came: Mapping[int, list[tuple[int, Came]]], today: date) -> ClaimRow:
    replaced = tuple(one for _, one in came.get(claim.pk, ()))
    return ClaimRow(claim, claim.crate.code, claim.count, _deadline(claim, today), replaced)  # type: ignore[attr-defined]


def claim_rows() -> QuerySet[Claim]:
    """The claims of the workshop in scope with their crates, and with the clocks of those who sent them. Two queries."""
    return Claim.objects.select_related("crate__bench", "crate__sender", "crate__workshop").prefetch_related("crate__sender__rules")


def due_on(claim: Claim) -> date | None:
    """The last day to claim. A draft's clock runs by the rule as it is now; what was sent keeps the day that its letter named."""
    if claim.state != ClaimState.DRAFT:
        return claim.due_on
    rules = claim.crate.sender.rules.all() if claim.crate.sender else ()
    return last_day(claim.crate, next((rule for rule in rules if rule.fault == claim.fault), None))


def _deadline(claim: Claim, today: date) -> Deadline | None:
    due = due_on(claim)
    return None if due is None else calc.until(due, today)


_STAGES = {ClaimState.DRAFT: 0, ClaimState.SENT: 1}


def _order(row: ClaimRow) -> tuple[int, int, int]:
    claim = row.claim
    stage = _STAGES.get(ClaimState(claim.state), 2)
    day = (row.deadline.last_day if row.deadline else date.max).toordinal()
    return stage, day if stage < 2 else -(claim.answered_on or date.min).toordinal(), -claim.pk  # noqa: PLR2004 - the last stage


@dataclass(frozen=True, slots=True)
class LineRow:
    """A claimed line with its figures, and what has come in its place."""

    line: ClaimLine
    counted: Counted
    came: Came | None


@dataclass(frozen=True, slots=True)
class Detail:
    """A claim with all that its page shows. `gone` says which of a draft's lines claim more than is missing by now."""

    claim: Claim
    lines: tuple[LineRow, ...]
    deadline: Deadline | None
    letter: Letter
    text: str
    gone: tuple[str, ...]


def detail(claim: Claim, today: date, *, by: Member | None = None) -> Detail:
    """All of one claim. A fixed number of queries for each 500 lines."""
    lines, counted, rules = _lines(claim), _figures(claim.crate), rules_of(claim.crate)
    came = dict(came_of([claim]).get(claim.pk, ()))
    rows = tuple(LineRow(line, _figure(line, counted), came.get(line.pk)) for line in lines)
    written = _written(claim) or _letter(claim, rows, rules.get(claim.fault), claim.made_on, by.name if by else "")
    text = claim.letter or calc.as_text(written)
    return Detail(claim, rows, _deadline(claim, today), written, text, tuple(_gone(claim, lines)))


def letter(claim: Claim, *, on: date | None = None, by: Member | None = None) -> Letter:
    """The letter of a claim: as it was sent, or a draft's as it would be sent `on` a day, signed by a member."""
    if sent := _written(claim):
        return sent
    counted = _figures(claim.crate)
    rows = [LineRow(line, _figure(line, counted), None) for line in _lines(claim)]
    return _letter(claim, rows, rules_of(claim.crate).get(claim.fault), on or claim.made_on, by.name if by else "")


def _written(claim: Claim) -> Letter | None:
    return calc.of_facts(claim.facts) if claim.facts else None


def _lines(claim: Claim) -> list[ClaimLine]:
    rows = ClaimLine.objects.filter(claim=claim).select_related("line__bag", "item")
    return sorted(rows, key=lambda row: (row.line.bag.path if row.line and row.line.bag else "", row.pk))


def _figures(crate: Crate) -> dict[Key, Counted]:
    """What the list and the count say, by line, and by item where nothing was listed."""
    found: dict[Key, Counted] = {}
    for one in tallying.differences(crate):
        key: Key = (one.line_id, None if one.line_id else one.item_id, "")
        found.setdefault(key, Counted(one.listed, one.good, one.damaged, one.wrong))
    return found


def _figure(line: ClaimLine, counted: Mapping[Key, Counted]) -> Counted:
    """A line that no longer differs was found whole."""
    listed = line.line.quantity if line.line else calc.NOTHING
    whole = Counted(listed, listed, calc.NOTHING, calc.NOTHING)
    return counted.get((line.line_id, None if line.line_id else line.item_id, ""), whole)


def _letter(claim: Claim, rows: Iterable[LineRow], rule: ClaimRule | None, on: date, by: str) -> Letter:
    shown = [(row.line, row.counted) for row in rows]
    if claim.state == ClaimState.DRAFT:
        claim.due_on = last_day(claim.crate, rule)
    to = _address(claim.against)
    return letters.compose(claim, shown, rule=rule, to=to, photos=_photos(claim, [line for line, _ in shown]), on=on, by=by)


def _address(against: str) -> tuple[str, ...]:
    """The addressee, with the address where it is among the senders: a carrier may be, too."""
    known = Sender.objects.filter(name__iexact=against).first()
    if known is None:
        return (against,)
    return tuple(text for text in (known.name, *known.address.splitlines(), known.email) if text)


def _photos(claim: Claim, lines: Sequence[ClaimLine]) -> list[calc.Photo]:
    """The photos of what is claimed; of damage also those of the crate itself. Two queries."""
    listed, loose = [line.line_id for line in lines if line.line_id], [line.item_id for line in lines if not line.line_id]
    wanted = Q(line__in=listed) | Q(line=None, item__in=loose)
    counts = Tally.objects.filter(wanted, crate=claim.crate).values_list("pk", "item__code")
    of_what = {ref_of_tally(pk): item or "" for pk, item in counts}
    if claim.fault in {Fault.DAMAGE, Fault.CONCEALED}:
        of_what[ref_of_crate(claim.crate_id)] = ""
    found = (photo for photos in photos_of(of_what).values() for photo in photos)
    return [calc.Photo(photo.id, _caption(of_what[photo.ref], photo)) for photo in sorted(found, key=lambda photo: (photo.at, photo.id))]


def _caption(item: str, photo: PhotoRow) -> str:
    what = ", ".join(text for text in (item, photo.caption) if text) or "the crate"
    return f"{what}, taken {timezone.localdate(photo.at)}"


def _gone(claim: Claim, lines: Iterable[ClaimLine]) -> Iterator[str]:
    """What a draft claims beyond what is missing by now."""
    if claim.state != ClaimState.DRAFT:
        return
    room = {one.key: one.left for one in claimable(claim.crate, leave_out=claim.pk)}
    for line in lines:
        left = room.get(key_of(line.line_id, line.item_id, claim.fault), calc.NOTHING)
        if line.quantity > left:
            unit, code = (line.item.unit, line.item.code) if line.item else ("", "unknown")
            claimed = f"{plain(line.quantity)} {unit} of {code} are claimed"
            yield f"{claimed}, and {plain(left)} {unit} are left to claim: discard this draft and draft anew."


def pictures(letter: Letter) -> Callable[[int], bytes | None]:
    """Reads the file of a photo that a letter names; None where it is no longer kept. One query."""
    paths = {photo.pk: path_of(photo) for photo in Photo.objects.filter(pk__in=[photo.id for photo in letter.photos])}

    def read(photo: int) -> bytes | None:
        path = paths.get(photo)
        return path.read_bytes() if path is not None and path.exists() else None

    return read
