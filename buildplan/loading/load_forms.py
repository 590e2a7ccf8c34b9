"""Files to load, what they are loaded into, and which of their columns is which of ours."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import uuid4

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _

from buildplan.loading import mapping, sent_files
from buildplan.loading.choices import Choices, titles
from buildplan.loading.mapping import ColumnMap
from buildplan.loading.models import LoadJob
from buildplan.loading.sent_files import BadFile, SentFile
from buildplan.loading.tables import KINDS
from buildplan.plan import services as plan
from inventory.common.forms import DayInput, QuantityInput
from inventory.models import Bench, Sender
from inventory.receiving.services import MOST_CODE, MOST_LINES

MOST_FILES = 8
FIELDS: Mapping[str, tuple[str, ...]] = {
    "catalogue": (),
    "stock": ("bench", "recount"),
    "plan": ("bench", "project", "remove_missing"),
    "packing": ("bench", "crate", "due_on", "sender", "printed_lines", "printed_quantity"),
}


class TargetForm(forms.Form):
    """What files of a kind are loaded into, and how."""

    bench = forms.ModelChoiceField(Bench.objects.none(), label=_("Bench"))
    project = forms.CharField(
        label=_("Project"),
        max_length=plan.MOST_CODE,
        help_text=_("a code of your own, such as TERN-1; made where it isn't there"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    crate = forms.CharField(
        label=_("Crate"),
        max_length=MOST_CODE,
        help_text=_("a code of your own, such as CRATE-7"),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )
    due_on = DayInput(
        label=_("Due"), required=False, help_text=_("until then it counts as on its way; without a day it counts for nothing")
    )
    sender = forms.ModelChoiceField(Sender.objects.none(), label=_("Sender"), required=False, empty_label=_("not known"))
    printed_lines = forms.IntegerField(
        label=_("Lines, as printed"),
        required=False,
        min_value=0,
        max_value=MOST_LINES,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off", "size": 9}),
        help_text=_("the totals at the foot of the list are compared, never used"),
    )
    printed_quantity = QuantityInput(label=_("Pieces, as printed"), required=False, zero=True)
    recount = forms.BooleanField(
        label=_("The file says how much lies where"),
        required=False,
        help_text=_("differences become counts; unticked, what the file has is added"),
    )
    remove_missing = forms.BooleanField(
        label=_("Remove steps that the file has not"), required=False, help_text=_("never one that was worked on")
    )

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        """The fields of that kind, with the benches and senders of the workshop in scope; the only bench is chosen already."""
        super().__init__(*args, **kwargs)
        for name in TargetForm.base_fields.keys() - set(FIELDS[kind]):
            del self.fields[name]
        if "sender" in self.fields:
            self.fields["sender"].queryset = Sender.objects.order_by("name")  # type: ignore[attr-defined] # the fields are these
        if "bench" in self.fields:
            benches = Bench.objects.order_by("code")
            self.fields["bench"].queryset = benches  # type: ignore[attr-defined]
            if not self.is_bound and len(found := list(benches[:2])) == 1:
                self.initial.setdefault("bench", found[0])

    @property
    def target(self) -> dict[str, Any]:
        """What was given, as `Choices` take it."""
        return {name: value for name, value in self.cleaned_data.items() if name in TargetForm.base_fields}


class _ManyFiles(forms.ClearableFileInput):
    allow_multiple_selected = True


class _FilesField(forms.FileField):
    """Several files at once, each looked at by its kind and size."""

    def __init__(self, what: str, **kwargs: Any) -> None:
        super().__init__(widget=_ManyFiles(attrs={"accept": ".csv,.xlsx"}), allow_empty_file=True, **kwargs)
        self._what = what

    def clean(self, data: Any, initial: Any = None) -> list[SentFile]:
        """The files, in the order they were chosen."""
        given = [super(_FilesField, self).clean(one, initial) for one in data or [None]]
        if len(given) > MOST_FILES:
            raise forms.ValidationError(gettext("At most %(most)s files at once.") % {"most": MOST_FILES})
        try:
            return [sent_files.take(one, self._what) for one in given]
        except BadFile as problem:
            raise forms.ValidationError(str(problem)) from problem


class FilesForm(TargetForm):
    """The same with the files, as it is sent first."""

    key = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, kind: str, **kwargs: Any) -> None:
        """A plan may be several files; every other kind is one."""
        super().__init__(*args, kind=kind, **kwargs)
        several = len(KINDS[kind]) > 1
        helped = (
            _("CSV files or one XLSX; choose several at once") if several else _("CSV or XLSX; its columns may go by other names than ours")
        )
        files = _FilesField(_WHAT[kind], label=_("Files") if several else _("File"), help_text=helped)
        files.widget.attrs |= {} if several else {"multiple": False}
        self.fields = {"files": files, **self.fields}
        self.initial.setdefault("key", uuid4())


_WHAT = {"catalogue": "catalogue", "stock": "stock list", "plan": "plan", "packing": "packing list"}


@dataclass(frozen=True, slots=True)
class ColumnChoice:
    """One of our columns, and what may be chosen for it. `how` is why something is chosen already."""

    name: str
    required: bool
    at: int | None
    how: str
    several: tuple[str, ...]
    may_be_said: bool
    said: str
    fault: str


@dataclass(frozen=True, slots=True)
class TableChoice:
    """One of our tables: which sheet holds it, and its columns. `titles` are that sheet's, `unread` those that nobody chose."""

    name: str
    required: bool
    spot: tuple[int, int] | None
    fault: str
    columns: tuple[ColumnChoice, ...] = ()
    titles: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()

    @property
    def faulty(self) -> bool:
        """Whether something must be chosen still."""
        return bool(self.fault) or any(column.fault for column in self.columns)

    @property
    def plain(self) -> bool:
        """Whether nothing needs a look: the file calls all its columns as we do."""
        return not (self.faulty or self.unread) and all(column.how in {mapping.NAMED, mapping.NONE} for column in self.columns)


def read_mapping(job: LoadJob, sent: QueryDict, before: Choices) -> dict[str, Any]:
    """The tables and columns that a form chose, as `Choices` take them. Of a sheet that is new to its table, what is proposed stands."""
    tables, columns = {}, {}
    for table in KINDS[job.kind]:
        spot = _spot(job, sent.get(f"table-{table}", ""))
        if spot is None:
            continue
        tables[table] = spot
        if before.tables.get(table) == spot:
            columns[table] = _sent_columns(table, sent)
        else:
            found = mapping.propose(table, titles(job, spot), {})
            columns[table] = ColumnMap({name: one.at for name, one in found.items() if one.at is not None})
    return {"tables": tables, "columns": columns}


def table_choices(job: LoadJob, chosen: Choices, remembered: Mapping[str, Mapping[str, str]]) -> list[TableChoice]:
    """Our tables as the page shows them, with what is wrong."""
    return [_table(job, table, chosen, remembered.get(table, {})) for table in KINDS[job.kind]]


def _table(job: LoadJob, table: str, chosen: Choices, remembered: Mapping[str, str]) -> TableChoice:
    spot, required = chosen.tables.get(table), table == KINDS[job.kind][0]
    if spot is None:
        return TableChoice(table, required, None, gettext("say which file or sheet holds it") if required else "")
    twice = next((name for name, other in chosen.tables.items() if other == spot and name != table), "")
    named, columns = titles(job, spot), chosen.columns.get(table, ColumnMap({}))
    fault = job.files[spot[0]]["sheets"][spot[1]]["fault"] or (
        gettext("this sheet is chosen for %(table)s as well: one table a sheet") % {"table": twice} if twice else ""
    )
    shown = tuple(_columns(table, named, columns, remembered))
    unread = tuple(title for at, title in enumerate(named) if title and at not in columns.positions.values())
    return TableChoice(table, required, spot, fault, shown, tuple(named), unread)


def _columns(table: str, named: Sequence[str], chosen: ColumnMap, remembered: Mapping[str, str]) -> list[ColumnChoice]:
    proposed, wrong = mapping.propose(table, named, remembered), mapping.faults(table, named, chosen)
    found = []
    for name, required in mapping.to_choose(table):
        at, one = chosen.positions.get(name), proposed[name]
        how = one.how if one.at == at else "chosen"
        said = chosen.constants.get(name, "")
        found.append(ColumnChoice(name, required, at, how, one.several, mapping.may_be_said(table, name), said, wrong.get(name, "")))
    return found


def _spot(job: LoadJob, text: str) -> tuple[int, int] | None:
    """A sheet by the numbers of its file and of itself; None for any other text."""
    spots = {f"{at}.{number}": (at, number) for at, file in enumerate(job.files) for number, _ in enumerate(file["sheets"])}
    return spots.get(text)


def _sent_columns(table: str, sent: QueryDict) -> ColumnMap:
    positions, said = {}, {}
    for name, _required in mapping.to_choose(table):
        at, text = sent.get(f"col-{table}-{name}", ""), sent.get(f"all-{table}-{name}", "").strip()[:80]
        if at.isascii() and at.isdigit() and len(at) < 5:  # noqa: PLR2004 - no sheet has so many columns
            positions[name] = int(at)
        if text and mapping.may_be_said(table, name):
            said[name] = text
    return ColumnMap(positions, said)
