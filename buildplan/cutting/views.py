"""Pages of blanks and cuts: parse, call, render."""

from fractions import Fraction
from math import floor
from typing import Any

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from buildplan.cutting import queries, services
from buildplan.cutting.forms import BlankForm, MeasureForm, PlanForm, RulesForm, SawForm, SpoilForm
from buildplan.cutting.models import Blank, Cut, CutPiece, CuttingRules, Form, Measured, Piece
from buildplan.cutting.picture import Drawn, drawn
from buildplan.cutting.services import BlankData, Kept, Release
from buildplan.cutting.whys import rules_of_blank
from inventory.common.exact import decimal_text
from inventory.common.forms import attempt
from inventory.common.pages import UNREADABLE
from inventory.common.undo import undoable
from inventory.models import Bench, Holding, Lot, Place
from inventory.stock.models import End
from inventory.workshop import policy
from inventory.workshop.access import members_only
from inventory.workshop.request import MemberRequest

FINEST = 10_000  # parts of a millimetre that a proposed size is rounded down to: rounded up it would be more than is left
SIZES = ("form", "unit", "length", "width", "thickness", "grain", "kerf", "end_trim")


def _get_blank(pk: int) -> Blank:
    return get_object_or_404(Blank.objects.select_related("item", "offcut", "workshop"), pk=pk)


def _get_cut(pk: int) -> Cut:
    return get_object_or_404(queries.cut_rows(), pk=pk)


@require_GET
@members_only
def cutting(request: MemberRequest) -> HttpResponse:
    """Every blank, what there is of it and what is promised."""
    may_keep = policy.allowed(request.member, "keep_stock")
    saws, may_manage = queries.rules(), policy.allowed(request.member, "manage")
    sizes = {"kerf": decimal_text(saws.kerf), "trim": decimal_text(saws.end_trim)}
    return render(request, "cutting/blanks.html", {"rows": queries.blanks(), "may_keep": may_keep, "may_manage": may_manage, **sizes})


@require_http_methods(["GET", "POST"])
@members_only
def rules(request: MemberRequest) -> HttpResponse:
    """How the workshop saws."""
    policy.require(request.member, "manage")
    found = CuttingRules.objects.first() or CuttingRules()
    said = {name: getattr(found, name) for name in ("unit", "kerf", "end_trim", "allowance")}
    form = RulesForm(request.POST if request.method == "POST" else None, initial={**said, **_shown(said, "kerf", "end_trim", "allowance")})
    if request.method == "POST" and attempt(form, lambda: _set_rules(form, request)):
        messages.success(request, _("That is how it is sawn from now on."))
        return redirect("cutting")
    return render(request, "cutting/rules.html", {"form": form}, status=UNREADABLE if form.errors else None)


def _set_rules(form: RulesForm, request: MemberRequest) -> None:
    given = {name: form.cleaned_data[name] or Fraction(0) for name in ("kerf", "end_trim", "allowance")}
    services.set_rules(workshop=request.workshop, unit=form.cleaned_data["unit"], by=request.member, **given)


def _shown(said: dict[str, Any], *names: str) -> dict[str, Any]:
    """0 as people write it: a size box takes none."""
    return {name: "0" for name in names if said[name] == 0}


@require_http_methods(["GET", "POST"])
@members_only
def add_blank(request: MemberRequest) -> HttpResponse:
    """Say that pieces are cut from an item."""
    return _blank_form(request, None, {"unit": "mm"})


@require_http_methods(["GET", "POST"])
@members_only
def change_blank(request: MemberRequest, pk: int) -> HttpResponse:
    """Say anew how large a blank is."""
    found = _get_blank(pk)
    said = {name: getattr(found, name) for name in SIZES}
    return _blank_form(request, found, {**said, **_shown(said, "kerf", "end_trim")})


def _blank_form(request: MemberRequest, blank: Blank | None, said: dict[str, Any]) -> HttpResponse:
    policy.require(request.member, "keep_stock")
    form = BlankForm(request.POST if request.method == "POST" else None, workshop=request.workshop, initial=said, fixed=blank is not None)
    saved: list[Blank] = []
    if request.method == "POST" and attempt(form, lambda: saved.append(_save_blank(form, blank, request))):
        return redirect("blank", saved[0].pk)
    context = {"form": form, "blank": blank, "items": queries.item_codes()}
    return render(request, "cutting/blank_form.html", context, status=UNREADABLE if form.errors else None)


def _save_blank(form: BlankForm, blank: Blank | None, request: MemberRequest) -> Blank:
    given = form.cleaned_data
    item = blank.item if blank else given["item"]
    kept = services.save_blank(item=item, said=BlankData(**{name: given[name] for name in SIZES}), by=request.member)
    messages.success(request, _("Pieces are cut from %(item)s.") % {"item": item.code})
    return kept


@require_POST
@members_only
def remove_blank(request: MemberRequest, pk: int) -> HttpResponse:
    """Nothing is cut from it any more."""
    found = _get_blank(pk)
    services.remove_blank(blank=found, by=request.member)
    messages.success(request, _("%(item)s is no blank any more.") % {"item": found.item.code})
    return redirect("cutting")


@require_GET
@members_only
def blank(request: MemberRequest, pk: int) -> HttpResponse:
    """A blank: what lies there, who it is promised to, what is still to cut, what was cut."""
    found = _get_blank(pk)
    saws = queries.rules()
    cuts = list(queries.cut_rows().filter(blank=found, undone_at=None)[:20])
    pieces = queries.pieces_of(blank=found, step__done=False)
    kerf, trim = rules_of_blank(found, queries.sizes_of(found, saws))
    context = {
        "blank": found,
        "kerf": kerf,
        "trim": trim,
        "lies": queries.lying(found),
        "pieces": pieces,
        "planned": [(cut, *_pictured(cut, saws)) for cut in cuts if cut.state == "planned"],
        "sawn": [cut for cut in cuts if cut.state == "sawn"],
        "may_keep": policy.allowed(request.member, "keep_stock"),
        "may_plan": policy.allowed(request.member, "plan") and any(one.uncut for one in pieces),
        "may_use": policy.allowed(request.member, "use_stock"),
    }
    return render(request, "cutting/blank.html", context)


def _for(piece: Piece) -> str:
    return _("%(piece)s for %(step)s") % {"piece": piece.code, "step": piece.step.code}


def _pictured(cut: Cut, saws: queries.Rules) -> tuple[tuple[Drawn, ...], services.Shown]:
    found = services.shown_of(cut, saws)
    return _pictures(cut, found), found


def _pictures(cut: Cut, shown: services.Shown) -> tuple[Drawn, ...]:
    """A cut as it was planned; by yield a scheme of as many parts as the blank gives."""
    lines = list(cut.pieces.all())
    most = {line.piece.per_blank for line in lines}
    if shown.plan is None and None in most:
        return ()  # pieces by size that don't come out of it: there is a sentence instead
    yields = [(_for(line.piece), line.count, line.later) for line in lines]
    given = sum(line.count for line in lines)
    one_kind = len({line.piece.code.upper() for line in lines}) == 1 and cut.lot.item_id == cut.blank.item_id
    rest = max(0, (max((many or 0 for many in most), default=0)) - given) if one_kind else 0
    return drawn(shown.plan, yields, rest)


# Cuts


@require_http_methods(["GET", "POST"])
@members_only
def plan_cut(request: MemberRequest, pk: int) -> HttpResponse:
    """Plan a cut: look at it first, then hold the blank for it."""
    found = _get_blank(pk)
    policy.require(request.member, "plan")
    bench = _bench(request, found)
    needed = queries.pieces_of(blank=found, step__done=False, step__project__bench=bench) if bench else []
    pieces = [one for one in needed if one.uncut]
    lies = [] if bench is None else queries.lying(found, bench)
    form = PlanForm(request.POST if request.method == "POST" else None, lies=lies, pieces=pieces, initial=_first(request, pieces))
    context = {"blank": found, "form": form, "bench": bench, "benches": _benches(found), "lies": lies}
    made: list[Cut] = []
    if request.method == "POST" and "look" in request.POST:
        attempt(form, lambda: context.update(_looked(form, found)))
    elif request.method == "POST" and attempt(form, lambda: made.append(_plan(form, found, request))):
        undoable(request, _("The blank is held for this cut until it is sawn."), "undo-cut", made[0].pk)
        return redirect("cut", made[0].pk)
    return render(request, "cutting/plan.html", context, status=UNREADABLE if form.errors else None)


def _benches(blank: Blank) -> list[Bench]:
    return list(Bench.objects.filter(projects__steps__pieces__blank=blank, projects__steps__done=False).distinct().order_by("code"))


def _bench(request: MemberRequest, blank: Blank) -> Bench | None:
    """Whose plans are cut for: the one that is asked for, else the first that needs a piece of it."""
    there = _benches(blank)
    asked = request.GET.get("bench")
    return next((bench for bench in there if bench.code == asked), there[0] if there else None)


def _first(request: MemberRequest, pieces: list[queries.Standing]) -> dict[str, Any]:
    """The step that was come from is filled in."""
    step = request.GET.get("step", "")
    now = {f"now-{one.piece.pk}": one.uncut for one in pieces if step and str(one.piece.step_id) == step}
    return {"lot": request.GET.get("lot", ""), **now}


def _looked(form: PlanForm, blank: Blank) -> dict[str, Any]:
    lot = get_object_or_404(Lot.objects.select_related("bench", "item"), pk=form.cleaned_data["lot"])
    found = services.look_at(blank=blank, lot=lot, now=form.counts("now"), later=form.counts("later"))
    given = [(_for(one), count, later) for later, when in enumerate(("now", "later")) for one, count in form.counts(when).items()]
    return {"look": found, "drawn": drawn(found.plan, [(name, count, bool(later)) for name, count, later in given])}


def _plan(form: PlanForm, blank: Blank, request: MemberRequest) -> Cut:
    given = form.cleaned_data
    lot = get_object_or_404(Lot.objects.select_related("bench", "item", "workshop"), pk=given["lot"])
    said = {name: given[name] for name in ("key", "accept", "note")}
    return services.plan_cut(blank=blank, lot=lot, now=form.counts("now"), later=form.counts("later"), **said, by=request.member)


@require_GET
@members_only
def cut(request: MemberRequest, pk: int) -> HttpResponse:
    """A cut: its picture, and what is next: saw it, give it up, or write down what was spoiled."""
    return _cut_page(request, _get_cut(pk))


def _cut_page(request: MemberRequest, found: Cut, saw: SawForm | None = None, spoil: tuple[int, SpoilForm] | None = None) -> HttpResponse:
    bench = found.step.project.bench
    may_use = policy.allowed(request.member, "use_stock", bench)
    saws = queries.rules()
    today = timezone.localdate()
    if found.state == "planned" and may_use and saw is None:
        saw = _saw_form(found, None, saws)
    lines = [(line, _spoil_form(line, found, spoil, today) if may_use else None) for line in found.pieces.all()]
    pictures, shown = _pictured(found, saws)
    context = {
        "cut": found,
        "drawn": pictures,
        "shown": shown,
        "lines": lines,
        "made": queries.made_by(found),
        "daughters": list(found.daughters.select_related("undone_by").order_by("pk")),
        "saw": saw if found.state == "planned" else None,
        "may_undo": found.state == "planned" and policy.allowed(request.member, "plan", bench),
    }
    wrong = (saw is not None and saw.errors) or (spoil is not None and spoil[1].errors)
    return render(request, "cutting/cut.html", context, status=UNREADABLE if wrong else None)


def _spoil_form(line: CutPiece, found: Cut, given: tuple[int, SpoilForm] | None, today: Any) -> SpoilForm | None:
    if found.state != "sawn" or line.later:
        return None
    return given[1] if given and given[0] == line.pk else SpoilForm(None, today=today, prefix=f"line{line.pk}")


def _saw_form(found: Cut, data: Any, saws: queries.Rules) -> SawForm:
    """The largest offcut that the plan leaves is proposed to be kept."""
    rows = (
        Holding.objects.filter(lot=found.lot_id, quantity__gte=found.quantity, place__hands=None)
        .select_related("place")
        .order_by("place__path")
    )
    sources = [(row.place_id, row.place.path) for row in rows]
    places = list(Place.objects.filter(end=End.STORAGE, hands=None).order_by("key").values_list("pk", "path"))
    initial = {"target": sources[0][0] if sources else "", **_proposed(found, saws)}
    asks = {"sheet": found.blank.form == Form.SHEET, "promises": any(line.later for line in found.pieces.all())}
    return SawForm(data, sources=sources, places=places, **asks, today=timezone.localdate(), initial=initial)


def _proposed(found: Cut, saws: queries.Rules) -> dict[str, Any]:
    left = services.left_of(found, saws)
    if left is None:
        return {"keep-0": True} if any(line.later for line in found.pieces.all()) else {}
    sides = {name: side for name, side in (("length-0", left.length), ("width-0", left.width)) if side is not None}
    return {"keep-0": True, **{name: decimal_text(Fraction(floor(side * FINEST), FINEST)) for name, side in sides.items()}}


@require_POST
@members_only
def saw_cut(request: MemberRequest, pk: int) -> HttpResponse:
    """It was sawn."""
    found = _get_cut(pk)
    policy.require(request.member, "use_stock", found.step.project.bench)
    form = _saw_form(found, request.POST, queries.rules())
    if not attempt(form, lambda: _saw(form, found, request)):
        return _cut_page(request, found, saw=form)
    messages.success(request, _("Sawn. The pieces, and the offcuts that are kept, are on the shelf."))
    return redirect("cut", pk)


def _saw(form: SawForm, found: Cut, request: MemberRequest) -> None:
    given = form.cleaned_data
    source, target = (get_object_or_404(Place, pk=given[name], end=End.STORAGE) for name in ("source", "target"))
    kept = [Kept(**one) for one in form.kept()]
    said = {"on": given["on"], "now": timezone.now(), "by": request.member, "certificate": given["certificate"]}
    services.saw_cut(cut=found, source=source, target=target, kept=kept, release=given.get("release", ""), **said)


@require_POST
@members_only
def undo_cut(request: MemberRequest, pk: int) -> HttpResponse:
    """Give it up before the saw."""
    found = _get_cut(pk)
    services.undo_cut(cut=found, now=timezone.now(), by=request.member)
    messages.success(request, _("The cut is given up: the blank is free again."))
    return redirect("blank", found.blank_id)


@require_POST
@members_only
def spoil_pieces(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down what was spoiled."""
    line = get_object_or_404(CutPiece.objects.select_related("cut__step__project__bench"), pk=pk)
    policy.require(request.member, "use_stock", line.cut.step.project.bench)
    form = SpoilForm(request.POST, today=timezone.localdate(), prefix=f"line{pk}")
    if not attempt(form, lambda: services.spoil_pieces(line=line, by=request.member, **form.cleaned_data)):
        return _cut_page(request, _get_cut(line.cut_id), spoil=(pk, form))
    messages.success(request, _("Written down. What has to be cut anew is on the order sheet, with its blank."))
    return redirect("cut", line.cut_id)


@require_http_methods(["GET", "POST"])
@members_only
def measure_lot(request: MemberRequest, pk: int) -> HttpResponse:
    """Write down how large a lot is."""
    lot = get_object_or_404(Lot.objects.select_related("bench", "item"), pk=pk)
    policy.require(request.member, "use_stock", lot.bench)
    found = Measured.objects.filter(lot=lot).first()
    names = ("unit", "length", "width", "thickness", "grain", "certificate")
    initial = {name: getattr(found, name) for name in names} if found else {"unit": "mm"}
    promised = Cut.objects.filter(lot=lot, sawn_at=None, undone_at=None).exists()
    form = MeasureForm(request.POST if request.method == "POST" else None, promised=promised, initial=initial)
    if request.method == "POST" and attempt(form, lambda: _measure(form, lot, request)):
        messages.success(request, _("Its size is written down."))
        return redirect("lot", lot.pk)
    return render(request, "cutting/measure.html", {"form": form, "lot": lot}, status=UNREADABLE if form.errors else None)


def _measure(form: MeasureForm, lot: Lot, request: MemberRequest) -> None:
    given = dict(form.cleaned_data)
    thickness, certificate, why = given.pop("thickness"), given.pop("certificate"), given.pop("release", "")
    release = Release(why, timezone.now()) if why else None
    services.measure(lot=lot, said=Kept(**given), thickness=thickness, certificate=certificate, release=release, by=request.member)
