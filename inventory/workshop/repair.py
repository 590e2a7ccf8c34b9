"""Repair by hand: Django's admin over the rows of one workshop, for its owner. Names and notes may be put right; the ledger only shows.

The apps' `admin` modules list the models. There is no adding and no deleting, and no way around a service that keeps accounts: only the
fields that a model names as `editable` can be written, with a reason, and the row's history keeps who did it.
"""
# ruff: noqa: ARG002 - many signatures here are Django's

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, ClassVar, cast

from django import forms
from django.contrib import messages
from django.contrib.admin import AdminSite, ModelAdmin
from django.db import IntegrityError, models, transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, URLResolver, include, path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_protect
from django.views.decorators.http import require_GET, require_http_methods

from inventory.common.history import MOST_WHY, changed_by
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.models import Workshop
from inventory.workshop.request import MemberRequest

SECRET = frozenset({"digest", "prefix", "fingerprint", "key"})  # of tokens and requests: nobody has to see them
SEARCHED = frozenset({"code", "name", "text", "path", "title", "number", "note"})
SHOWN = 3  # columns of a list beside the row itself
PAGE = 50


class RepairSite(AdminSite):
    """Its pages. An owner of the workshop gets in, and a superuser who is a member there; both have signed in with their second step."""

    final_catch_all_view = False

    def has_permission(self, request: HttpRequest) -> bool:
        """Whether the member may repair."""
        member = cast("MemberRequest", request).member
        return member is not None and (policy.allowed(member, "repair") or request.user.is_superuser)

    def admin_view(self, view: Callable[..., Any], cacheable: bool = False) -> Any:
        """A stranger goes to the sign-in page; who may not repair is told so."""

        @members_only
        def guarded(request: MemberRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not self.has_permission(request):
                policy.require(request.member, "repair")
            return cast("HttpResponse", view(request, *args, **kwargs))

        return never_cache(csrf_protect(guarded))

    def get_urls(self) -> list[URLPattern | URLResolver]:
        """The list of tables, and of each table its rows, a row, and the row's history."""
        found: list[URLPattern | URLResolver] = [path("", self.admin_view(require_GET(self.tables)), name="index")]
        for model, admin in self._registry.items():
            found.append(path(f"{model._meta.app_label}/{model._meta.model_name}/", include(admin.get_urls())))  # noqa: SLF001 - Django's documented API
        return found

    def each_context(self, request: Any) -> dict[str, Any]:
        """Our own pages need none of the admin's frame."""
        return {}

    def tables(self, request: MemberRequest) -> HttpResponse:
        """Every table, with what of it can be put right."""
        tables = [_Table(model, admin) for model, admin in self._registry.items()]
        return render(request, "repair/tables.html", {"tables": sorted(tables, key=lambda table: table.name)})


class _Table:
    """A table on the first page."""

    def __init__(self, model: type[models.Model], admin: ModelAdmin[Any]) -> None:
        self.name = str(model._meta.verbose_name_plural).capitalize()  # noqa: SLF001 - Django's documented API
        self.address = reverse(f"repair:{admin.opts.app_label}_{admin.opts.model_name}_changelist")
        self.editable = [str(model._meta.get_field(name).verbose_name) for name in cast("Rows", admin).editable]  # type: ignore[union-attr] # noqa: SLF001 - likewise


class RepairForm(forms.ModelForm):  # type: ignore[type-arg]
    """What can be put right of a row, and why it is."""

    why = forms.CharField(label=gettext_lazy("Why"), max_length=MOST_WHY, help_text=gettext_lazy("stands in the row's history"))


class Rows(ModelAdmin[Any]):
    """The rows of one table in the workshop of who asks."""

    editable: ClassVar[Sequence[str]] = ()
    form = RepairForm
    actions = None
    list_per_page = PAGE
    show_full_result_count = False
    sortable_by = ()
    ordering = ("-pk",)
    change_list_template = "repair/rows.html"
    change_form_template = "repair/row.html"

    def get_list_display(self, request: HttpRequest) -> Any:
        """The row, and a few of its plain columns."""
        return ["__str__", *[field.name for field in self._plain() if not isinstance(field, models.JSONField)][:SHOWN]]

    def get_search_fields(self, request: HttpRequest) -> Any:
        """Its codes and names."""
        return [field.name for field in self._plain() if field.name in SEARCHED]

    def get_list_select_related(self, request: HttpRequest) -> Any:
        """What a row's name may be made of."""
        return [field.name for field in self.opts.concrete_fields if field.is_relation and field.name != "workshop"] or False

    def _plain(self) -> list[Any]:
        return [field for field in self.opts.concrete_fields if not (field.primary_key or field.is_relation or field.name in SECRET)]

    def get_urls(self) -> list[URLPattern]:
        """No adding, no deleting."""
        name, view = f"{self.opts.app_label}_{self.opts.model_name}", self.admin_site.admin_view
        return [
            path("", view(require_GET(self.changelist_view)), name=f"{name}_changelist"),
            path("<path:object_id>/history/", view(require_GET(self.history_view)), name=f"{name}_history"),
            path("<path:object_id>/change/", view(require_http_methods(["GET", "POST"])(self.change_view)), name=f"{name}_change"),
        ]

    def get_queryset(self, request: HttpRequest) -> models.QuerySet[Any]:
        """Of the workshop alone, whatever a manager does."""
        workshop = cast("MemberRequest", request).workshop
        rows = super().get_queryset(request)
        return rows.filter(pk=workshop.pk) if self.model is Workshop else rows.filter(workshop=workshop)

    def has_add_permission(self, request: HttpRequest) -> bool:
        """Rows are made by the site's own pages."""
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Rows are removed by the site's own pages, which look what hangs on them."""
        return False

    def has_view_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """The site lets nobody else in."""
        return True

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        """Only where something can be put right."""
        return bool(self.editable)

    def has_module_permission(self, request: HttpRequest) -> bool:
        """As the site."""
        return True

    def get_fields(self, request: HttpRequest, obj: Any = None) -> Any:
        """What can be written first, with the reason; then all else but secrets."""
        others = [field.name for field in self.opts.concrete_fields if field.name not in SECRET and field.name not in self.editable]
        return [*self.editable, *(["why"] if self.editable else []), *others]

    def get_readonly_fields(self, request: HttpRequest, obj: Any = None) -> list[str]:
        """All that isn't named as editable."""
        return [name for name in self.get_fields(request, obj) if name not in {*self.editable, "why"}]

    def changelist_view(self, request: HttpRequest, extra_context: Any = None) -> HttpResponse:
        """A page of the rows, the newest first."""
        answer: Any = super().changelist_view(request, extra_context)
        if found := getattr(answer, "context_data", None):
            found["pages"] = found["cl"].paginator.get_elided_page_range(found["cl"].page_num)
        return cast("HttpResponse", answer)

    def change_view(self, request: HttpRequest, object_id: str, form_url: str = "", extra_context: Any = None) -> HttpResponse:
        """A row. One of another workshop is as unknown as one that isn't there."""
        get_object_or_404(self.get_queryset(request), pk=self._key(object_id))
        name = f"repair:{self.opts.app_label}_{self.opts.model_name}"
        more = {"editable": self.editable, "list_name": f"{name}_changelist", "history": reverse(f"{name}_history", args=[object_id])}
        try:
            with transaction.atomic():
                return super().change_view(request, object_id, form_url, more)
        except IntegrityError:
            messages.error(request, _("The database refuses that: another row has it already, or it breaks a rule of the table."))
            return redirect(request.path)

    def _key(self, text: str) -> int:
        return int(text) if text.isascii() and text.isdigit() and len(text) < 19 else 0  # noqa: PLR2004 - what a column of ids holds

    def save_model(self, request: HttpRequest, obj: Any, form: Any, change: bool) -> None:
        """Written by the member, for the reason that they gave."""
        written = [name for name in form.changed_data if name in self.editable]
        if written:
            changed_by(obj, cast("MemberRequest", request).member, form.cleaned_data["why"]).save(update_fields=written)

    def log_change(self, *args: Any, **kwargs: Any) -> Any:
        """The row's own history says it: there is no second log."""

    def history_view(self, request: HttpRequest, object_id: str, extra_context: Any = None) -> HttpResponse:
        """What a row was before, who changed it, and why."""
        row = get_object_or_404(self.get_queryset(request), pk=self._key(object_id))
        kept = row.history.select_related("history_user").order_by("-history_date", "-history_id") if hasattr(row, "history") else ()
        context = {"row": row, "opts": self.opts, "lines": list(_lines(kept)), "kept": hasattr(row, "history")}
        return render(request, "repair/history.html", context)


def _lines(kept: Iterable[Any]) -> Iterable[Mapping[str, Any]]:
    """Each state of a row with what differs from the state before it."""
    states = list(kept)
    for at, state in enumerate(states):
        before = states[at + 1] if at + 1 < len(states) else None
        differs = [] if before is None else [(field.verbose_name, getattr(state, field.attname)) for field in _differing(state, before)]
        yield {"state": state, "differs": differs}


def _differing(state: Any, before: Any) -> list[Any]:
    return [
        field
        for field in state.tracked_fields
        if field.name not in SECRET and getattr(state, field.attname) != getattr(before, field.attname)
    ]


site = RepairSite(name="repair")


def register(shown: Iterable[type[models.Model]], editable: Mapping[type[models.Model], Sequence[str]]) -> None:
    """List these tables, and let these fields of some be put right: a table without a history has none."""
    for model in shown:
        fields = tuple(editable.get(model, ()))
        if fields and not hasattr(model, "history"):
            raise TypeError(f"{model.__name__} keeps no history: nothing of it can be repaired by hand")
        site.register(model, type(f"{model.__name__}Rows", (Rows,), {"editable": fields}))
