"""Calculators of rivets: their codes and lengths, holes and drills, tools, temporary fasteners."""

from collections.abc import Iterator, Sequence
from datetime import date
from fractions import Fraction

from django.utils.translation import gettext_noop as _

from buildplan.figures.calculator import Calculator, Found, Input, Row, figure, length
from buildplan.figures.reading import Lines, Measure, OneOf, Whole, flag, moment
from buildplan.hardware.calc import (
    HOLES,
    Policy,
    Rivet,
    call_out_question,
    check_figures,
    cleco_colour,
    cleco_every,
    clecos_for_row,
    drill_fits,
    drill_note,
    drill_size,
    exact_length,
    length_reasons,
    parse_rivet,
    pin_peak,
    rivet_identifiers,
    rivet_length,
    rivet_notes,
    tools_for,
)
from buildplan.hardware.drills import DRILL_SOURCE
from inventory.catalogue.rivets import ALLOYS
from inventory.common.exact import decimal_text
from inventory.common.reasons import ARITHMETIC, MEMORY, PRACTICE, Reason

_CODE_SOURCE = "AC 43.13-1B p. 4-16; NAVEDTRA 14315 table 3-1"
_LENGTH = Measure("in", "length")
_LENGTHS = ".064, 1/16 in or 1.6 mm"
_MOST_HOLES = 100_000

PLANS = Reason(_("The call-out on the kit's plans wins over any figure here; where they differ, ask the kit's maker."), "the kit's plans")
_HOLES = Reason(_("The hole that the plans or the rivet's own specification give comes first."), "the kit's plans")
_COLOURS = Reason(_("A cleco's colour is a label: makers differ, so go by the size."), "NAVEDTRA 14315 ch. 4")
_BY_HAND = Reason(_("Spacing is a habit of the trade and no rule: the plans may ask for more."), PRACTICE)


def _grip(name: str, label: str, **more: str) -> Input:
    return Input(name, label, _LENGTH, _LENGTHS, unit=_("in or mm"), **more)  # type: ignore[arg-type] # help alone


def _drill(text: str) -> str:
    """A drill's name as it was written."""
    try:
        drill_size(text)
    except ValueError as error:
        raise ValueError(str(error).removeprefix("name: ")) from error
    return text


def _rivet_code(*, code: Rivet) -> Found:
    alloy = ALLOYS[code.alloy]
    twins = [figure("twin", twin) for twin in rivet_identifiers(code)[1:]]
    rows = (
        figure("standard", code.standard),
        figure("head", code.head.value),
        figure("alloy", code.alloy, note=f"{alloy.metal}, head mark: {alloy.head_mark}"),
        *length("diameter", code.diameter),
        *length("length", code.length, "under the head" if code.head == "universal" else "overall"),
        *twins,
    )
    trace = Reason(f"diameter {code.diameter * 32}/32 in, length {decimal_text(code.length * 16)}/16 in", _CODE_SOURCE)
    return Found(rows, (trace,), rivet_notes(code))


def _rivet_length(*, grip: Fraction, diameter: Fraction, policy: str, long_grip: bool, call_out: Rivet | None) -> Found:
    figures = check_figures(diameter)
    rows = (
        *length("length", rivet_length(grip, diameter, policy, long_grip=long_grip), f"rounded {_POLICIES[policy]}"),
        *length("exact", exact_length(grip, diameter, long_grip=long_grip), "before rounding"),
        *(row for one in Policy for row in length(one.value, rivet_length(grip, diameter, one, long_grip=long_grip))),
        *(row for one in figures for row in length(one.name, one.value)),
    )
    trace = (*length_reasons(grip, diameter, policy, long_grip=long_grip), *(one.reason for one in figures))
    questions = () if call_out is None else tuple(_questions(call_out, grip, diameter, policy, long_grip=long_grip))
    return Found(rows, trace, questions)


def _questions(call_out: Rivet, grip: Fraction, diameter: Fraction, policy: str, *, long_grip: bool) -> Iterator[Reason]:
    if call_out.diameter != diameter:
        text = f"The plans call for a rivet of {call_out.diameter} in, and {diameter} in is entered: which is right?"
        yield Reason(text, "the kit's plans")
    if question := call_out_question(call_out, grip, policy, long_grip=long_grip):
        yield Reason(question, "the kit's plans")


def _drill_figure(*, name: str) -> Found:
    note = drill_note(name)
    trace = Reason(f"{name} is {drill_size(name)} in; an inch is 25.4 mm", DRILL_SOURCE)
    return Found(length("size", drill_size(name)), (trace,), () if note is None else (note,))


def _drill_fit(*, name: str, rivet_diameter: Fraction) -> Found:
    fits, reason = drill_fits(name, rivet_diameter)
    limits = HOLES.get(rivet_diameter)
    rows = [figure("fits", "yes" if fits else "no"), *length("drill", drill_size(name))]
    if limits is None:
        unknown = Reason(_("No hole limits are known here for that rivet, and the answer says no more than that."), "no source")
        return Found(tuple(rows), (Reason(reason, "no source"),), (unknown,))
    rows += [*length("least", limits.least), *length("most", limits.most), figure("usual", limits.usual)]
    return Found(tuple(rows), (Reason(reason, limits.source),), _from_memory(limits.source))


def _from_memory(source: str) -> tuple[Reason, ...]:
    if not source.startswith(MEMORY):
        return ()
    return (Reason(_("These limits are from memory: let them stop nobody, and look them up."), source),)


def _rivet_tools(*, code: Rivet, sheet: Fraction | None) -> Found:
    tools = tools_for([(code, sheet)])
    rows = tuple(figure(tool.use.replace(" ", "_"), tool.name) for tool in tools)
    return Found(rows, tuple(Reason(f"{tool.use}: {tool.name}, {tool.reason.text}", tool.reason.source) for tool in tools))


def _clecos(*, holes: int, every: int | None, stage: str | None, diameter: Fraction | None) -> Found:
    spacing, why = _spacing(every, stage)
    count = clecos_for_row(holes, spacing)
    text = f"{holes} holes, one in every {spacing}, both ends filled: {count}"
    rows = (figure("clecos", count), figure("every", spacing), *_colour(diameter))
    return Found(rows, (*why, Reason(text, ARITHMETIC)), () if diameter is None else (_COLOURS,))


def _spacing(every: int | None, stage: str | None) -> tuple[int, tuple[Reason, ...]]:
    if (every is None) == (stage is None):
        raise ValueError("every: give this or a stage" + (", not both" if every is not None else ""))
    if every is not None:
        return every, (Reason(f"every {every}", "as entered"),)
    spacing, why = cleco_every(stage or "")
    return spacing, (why,)


def _colour(diameter: Fraction | None) -> Iterator[Row]:
    if diameter is not None:
        yield figure("colour", cleco_colour(diameter) or "no usual one")


def _pin_peak(*, span: Sequence[tuple[date | Fraction, date | Fraction, int]]) -> Found:
    _refuse_backwards(span)
    peak, when = pin_peak(span)
    held = [(start, end, count) for start, end, count in span if when is not None and start <= when < end]  # type: ignore[operator] # all days or all numbers, as just checked
    rows = (figure("peak", peak), *([figure("when", when)] if when is not None else []))
    reasons = [Reason(f"held then: {count}, from {start} until {end}", "as entered") for start, end, count in held]
    return Found(rows, (*reasons, Reason("what ends when another starts is free for it", ARITHMETIC)))


def _refuse_backwards(spans: Sequence[tuple[date | Fraction, date | Fraction, int]]) -> None:
    kinds = {isinstance(moment, date) for start, end, _ in spans for moment in (start, end)}
    if len(kinds) > 1:
        raise ValueError("span: some starts and ends are days, some are numbers")
    for at, (start, end, count) in enumerate(spans, start=1):
        if end < start:  # type: ignore[operator] # of one kind, as just checked
            raise ValueError(f"span: line {at}: it ends before it starts")
        if count < 0:
            raise ValueError(f"span: line {at}: a count below 0")


_POLICIES = {
    Policy.UP_HALF.value: _("up, half sizes allowed"),
    Policy.NEAREST_HALF.value: _("to the nearest half size"),
    Policy.UP_WHOLE.value: _("up, whole sizes only"),
}
_STAGES = {
    "fit_up": _("first fit-up of long straight skins"),
    "match_drill": _("match drilling"),
    "final": _("final fit, and curves"),
    "curing": _("while sealant cures"),
}
_TOOLS = {
    "pilot": _("Pilot"),
    "final": _("Final"),
    "deburr": _("Deburr"),
    "countersink": _("Countersink"),
    "dimple": _("Dimple"),
    "countersink_or_dimple": _("Countersink or dimple"),
}

RIVETS = (
    Calculator(
        name="rivet-code",
        title=_("Rivet code"),
        about=_("What the letters and digits of a solid rivet's code say, and the other code of the same rivet."),
        inputs=(Input("code", _("Code"), parse_rivet, "MS20470AD4-6", help=_("AN470, MS20470, AN426, MS20426 or NAS1097")),),
        results={
            "standard": _("Standard"),
            "head": _("Head"),
            "alloy": _("Alloy"),
            "diameter": _("Diameter"),
            "length": _("Length"),
            "twin": _("Same rivet"),
        },
        reckon=_rivet_code,
        example={"code": ["MS20470AD4-6"]},
        cautions=(PLANS,),
    ),
    Calculator(
        name="rivet-length",
        title=_("Rivet length"),
        about=_("The length for a grip by each way of rounding, and what the driven head and the row should measure."),
        inputs=(
            _grip("grip", _("Grip"), help=_("all sheets together")),
            _grip("diameter", _("Rivet diameter")),
            Input(
                "policy",
                _("Rounding"),
                OneOf(tuple(_POLICIES)),
                "up_half",
                help=_("manuals differ, so it is yours to state"),
                choices=_POLICIES,
            ),
            Input(
                "long_grip",
                _("add for a long grip"),
                flag,
                "yes",
                help=_("1/16 in for each full 2 in of grip over 2 in"),
                required=False,
                flag=True,
            ),
            Input("call_out", _("Call-out of the plans"), parse_rivet, "MS20470AD4-6", help=_("to compare with"), required=False),
        ),
        results={
            "length": _("Length"),
            "exact": _("Grip + 1.5 D"),
            "up_half": _("Up, half sizes allowed"),
            "nearest_half": _("To the nearest half size"),
            "up_whole": _("Up, whole sizes only"),
            "driven_width": _("Driven head, width"),
            "driven_height": _("Driven head, height"),
            "driven_width_floor": _("Driven head, least width"),
            "driven_height_floor": _("Driven head, least height"),
            "edge_distance": _("Edge distance, least"),
            "pitch_floor": _("Pitch, never under"),
            "pitch_low": _("Pitch, seldom under"),
            "pitch_high": _("Pitch, seldom over"),
            "countersunk_sheet": _("Thinnest sheet to countersink"),
        },
        reckon=_rivet_length,
        example={"grip": ["0.064"], "diameter": ["1/8"], "policy": ["up_half"], "call_out": ["MS20470AD4-4"]},
        cautions=(PLANS,),
    ),
    Calculator(
        name="drill",
        title=_("Drill size"),
        about=_("A drill's name in inches and millimetres."),
        inputs=(Input("name", _("Drill"), _drill, "#30, F or 3/32", help=_("a number of 1 to 80, a letter, or 64ths of an inch")),),
        results={"size": _("Size")},
        reckon=_drill_figure,
        example={"name": ["#30"]},
        cautions=(_HOLES,),
    ),
    Calculator(
        name="drill-fit",
        title=_("Drill for a rivet"),
        about=_("Whether a drill's hole lies within the limits for a rivet, and why."),
        inputs=(
            Input("name", _("Drill"), _drill, "#30, F or 3/32", help=_("a number of 1 to 80, a letter, or 64ths of an inch")),
            _grip("rivet_diameter", _("Rivet diameter")),
        ),
        results={"fits": _("Fits"), "drill": _("Drill"), "least": _("Smallest hole"), "most": _("Largest hole"), "usual": _("Usual drill")},
        reckon=_drill_fit,
        example={"name": ["#40"], "rivet_diameter": ["3/32"]},
        cautions=(_HOLES,),
    ),
    Calculator(
        name="rivet-tools",
        title=_("Tools for a rivet"),
        about=_("What to lay out for a rivet, in the order used: drills, deburring, and countersink or dimple for a flush head."),
        inputs=(
            Input("code", _("Rivet"), parse_rivet, "MS20426AD3-3.5"),
            Input(
                "sheet",
                _("Outer sheet's thickness"),
                _LENGTH,
                ".032 or 0.8 mm",
                help=_("decides between countersink and dimple"),
                unit=_("in or mm"),
                required=False,
            ),
        ),
        results=_TOOLS,
        reckon=_rivet_tools,
        example={"code": ["MS20426AD3-3.5"], "sheet": [".032"]},
        cautions=(_HOLES,),
    ),
    Calculator(
        name="clecos",
        title=_("Clecos for a row"),
        about=_("How many temporary fasteners a row takes, by a spacing of your own or by the stage of work."),
        inputs=(
            Input("holes", _("Holes in the row"), Whole(_MOST_HOLES), "42"),
            Input("every", _("One in every"), Whole(_MOST_HOLES), "3", help=_("holes; or choose a stage"), required=False),
            Input("stage", _("Stage"), OneOf(tuple(_STAGES)), "fit_up", required=False, choices=_STAGES),
            Input(
                "diameter",
                _("Hole's rivet diameter"),
                _LENGTH,
                "1/8 or 3.2 mm",
                help=_("for the usual colour"),
                unit=_("in or mm"),
                required=False,
            ),
        ),
        results={"clecos": _("Clecos"), "every": _("One in every"), "colour": _("Usual colour")},
        reckon=_clecos,
        example={"holes": ["42"], "stage": ["fit_up"], "diameter": ["1/8"]},
        cautions=(_BY_HAND,),
    ),
    Calculator(
        name="pin-peak",
        title=_("Pin peak"),
        about=_("The most clecos held at once, and when. They come back, so that it is the peak that you need and not the sum."),
        inputs=(
            Input(
                "span",
                _("Held"),
                Lines((moment, moment, Whole())),
                "2027-03-01,2027-03-04,40",
                help=_("start, end, count: one a line, days or plain numbers; the end itself is free again"),
            ),
        ),
        results={"peak": _("Peak"), "when": _("First held")},
        reckon=_pin_peak,
        example={"span": ["2027-03-01,2027-03-04,40", "2027-03-03,2027-03-06,25"]},
        cautions=(Reason(_("A sealed assembly holds its clecos for a day or more."), PRACTICE),),
    ),
)
