"""plan: steps in the order of the plans, what they come after, and what they need."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import islice

from buildplan.closeup.queries import closed_steps
from buildplan.cutting.queries import steps_cut
from buildplan.cutting.services import put_pieces, save_blank
from buildplan.fitting.queries import steps_named
from buildplan.hardware.models import Substitution
from buildplan.hardware.services import put_rows
from buildplan.loading import values
from buildplan.loading.cells import Cells, Reading, fitting
from buildplan.loading.columns import near
from buildplan.loading.items import Codes, amount_of, item_of, joined, too_much
from buildplan.loading.pieces import read_blanks, read_pieces, with_blanks
from buildplan.loading.problems import Problems
from buildplan.loading.records import shown
from buildplan.loading.rows import read_rows
from buildplan.loading.seams import read_seams
from buildplan.loading.tables import Row, Table
from buildplan.loading.values import BadValue
from buildplan.logbook.queries import steps_logged
from buildplan.plan.calc import loops
from buildplan.plan.models import Hand, Project, Step
from buildplan.plan.services import Need, Plan, PlanChanges, PlannedStep, put_plan, steps_with_history
from buildplan.sealing.services import put_seams
from inventory.common.rows import batches
from inventory.models import Member

STATED = {"planned": "planned_on", "after": "after", "minutes": "minutes", "done": "done", "hand": "hand"}
MOST_MINUTES = 1_000_000
MOST_NAMED = 100


@dataclass(frozen=True, slots=True)
class Stated:
    """The steps that a file states: those read well, and the row of every code, badly read ones included."""

    steps: Mapping[str, tuple[Row, PlannedStep]]  # by code in capitals
    rows: Mapping[str, Row]

    def has(self, code: str) -> bool:
        """Whether the file has a step of that code."""
        return code.upper() in self.rows


def load(  # noqa: PLR0913 - what is read, and what it is read into
    tables: Mapping[str, Table], reading: Reading, codes: Codes, *, project: Project, remove_missing: bool, by: Member
) -> dict[str, int]:
    """Read, check, write. Writes nothing where a problem was found."""
    problems = reading.problems
    stated = read_steps(tables["steps"], reading)
    find_step = partial(_known_step, stated)
    needs = read_needs(tables["needs"], stated, codes, reading) if "needs" in tables else None
    rows = read_rows(tables["rows"], codes, reading, find_step) if "rows" in tables else None
    seams = read_seams(tables["seams"], codes, reading, find_step) if "seams" in tables else None
    blanks = read_blanks(tables["blanks"], codes, reading) if "blanks" in tables else []
    pieces = read_pieces(tables["pieces"], codes, reading, find_step, blanks) if "pieces" in tables else None
    _check_missing(project, stated, remove_missing=remove_missing, where=tables["steps"].label, problems=problems)
    _check_closed(project, stated, tables["steps"].label, problems)
    if problems.error_count:
        return {}
    fields = frozenset(STATED[column] for column in tables["steps"].columns & STATED.keys())
    plan = Plan([step for _, step in stated.steps.values()], needs, fields)
    changes = put_plan(project=project, plan=plan, by=by)
    _warn(changes, tables, codes, problems)
    counts = _counts(plan, changes)
    if rows is not None:
        _warn_gone(tables["rows"], "row", put_rows(project=project, rows=rows, by=by), problems)
        counts["rows"] = len(rows)
    if seams is not None:
        _warn_gone(tables["seams"], "seam", put_seams(project=project, seams=seams, by=by), problems)
        counts["seams"] = len(seams)
    for blank in blanks:
        save_blank(item=blank.item, said=blank.said, by=by)
    if blanks:
        counts["blanks"] = len(blanks)
    if pieces is not None:
        _warn_gone(tables["pieces"], "piece", put_pieces(project=project, pieces=with_blanks(pieces), by=by), problems)
        counts["pieces"] = len(pieces)
    return counts


def read_steps(table: Table, reading: Reading) -> Stated:
    """The steps of the file, checked one by one and against each other."""
    steps: dict[str, tuple[Row, PlannedStep]] = {}
    rows: dict[str, Row] = {}
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        step = _step(cells)
        if step.code is not None and (first := rows.setdefault(step.code.upper(), row)) is not row:
            cells.fault("step", f"{shown(step.code)} is already on {first.where}: give each step its own code")
        if not cells.faulty:
            steps[step.code.upper()] = row, step
    stated = Stated(steps, rows)
    _check_afters(stated, reading.problems)
    return stated


def read_needs(table: Table, stated: Stated, codes: Codes, reading: Reading) -> list[Need]:
    """What the steps need; rows of one step and item are added up, each rounded by itself."""
    needs: dict[tuple[str, int], Need] = {}
    for row in table.rows(reading.progress):
        cells = Cells(row, reading)
        need = _need(cells, stated, codes)
        if need is not None:
            key = need.step.upper(), need.item_id
            needs[key] = _added(cells, needs[key], need, codes) if key in needs else need
    return list(needs.values())


def _step(cells: Cells) -> PlannedStep:
    is_done, done_on = cells.need("done", partial(values.done, today=cells.reading.today)) or (False, None)
    return PlannedStep(
        code=cells.need("step", _code),
        section=cells.text("section", 120),
        title=cells.text("title", 300),
        planned_on=cells.day("planned"),
        after=cells.may("after", values.codes) or (),
        minutes=cells.whole("minutes", 0, MOST_MINUTES),
        done=is_done,
        done_on=done_on,
        hand=cells.choice("hand", Hand.values) if cells.row["hand"] else "",
    )


def _code(text: str) -> str:
    text = fitting(text, most=40)
    if ";" in text:
        raise BadValue(f'{shown(text)} holds a ";", which stands between codes: leave it out')
    return text


def _check_afters(stated: Stated, problems: Problems) -> None:
    waits: dict[str, tuple[str, ...]] = {}
    for key, (row, step) in stated.steps.items():
        for fault in _after_faults(key, step.after, stated, problems):
            problems.add_error(row.error("after", fault))
        waits[key] = tuple(after for after in map(str.upper, step.after) if after in stated.steps and after != key)
    for loop in loops(waits):
        row = stated.rows[loop[0]]
        names = " -> ".join(stated.steps[key][1].code for key in loop)
        problems.add_error(row.error("after", f"a loop, each waiting for the next: {names}: take one of these waits out"))


def _after_faults(key: str, afters: Iterable[str], stated: Stated, problems: Problems) -> Iterable[str]:
    for after in afters:
        if after.upper() == key:
            yield f"{shown(after)} is this step itself: leave it out"
        elif not stated.has(after):
            yield _unknown_step(after, stated, advise=not problems.full)


def _unknown_step(code: str, stated: Stated, *, advise: bool) -> str:
    match = near(code, (row["step"] for row in stated.rows.values())) if advise else None
    return f"{shown(code)} is no step of this plan: {f'did you mean {match}?' if match else 'add it to the steps'}"


def _known_step(stated: Stated, cells: Cells, column: str) -> str | None:
    """The code of a step in a cell; noted where the plan has none of that code."""
    code = cells.need(column, values.filled)
    if code is not None and not stated.has(code):
        cells.fault(column, _unknown_step(code, stated, advise=not cells.reading.problems.full))
    return code


def _need(cells: Cells, stated: Stated, codes: Codes) -> Need | None:
    code = _known_step(stated, cells, "step")
    item = item_of(cells, codes)
    amount = amount_of(cells, item)
    return None if cells.faulty or code is None else Need(code, item.pk, amount.quantity, amount.rounding)


def _added(cells: Cells, first: Need, second: Need, codes: Codes) -> Need:
    total = first.quantity + second.quantity
    if fault := too_much(total, codes.items[first.item_id].unit):
        cells.fault("quantity", fault)
    return replace(first, quantity=total, rounding=joined(first.rounding, second.rounding))


def _check_missing(project: Project, stated: Stated, *, remove_missing: bool, where: str, problems: Problems) -> None:
    missing = [step for step in Step.objects.filter(project=project).order_by("position") if not stated.has(step.code)]
    if missing and not remove_missing:
        names = _names(step.code for step in missing)
        problems.add_error(
            f"{where}: step: {project.code} has steps that the file has not: {names}: add them, or load with --remove-missing"
        )
    kept = steps_with_history(missing) | _steps_judged(missing) if remove_missing else set()
    if kept:
        names = _names(step.code for step in missing if step.pk in kept)
        problems.add_error(
            f"{where}: step: these are done, or have stock or an accepted substitution to their name, so they can't be removed: "
            f"{names}: add them to the file"
        )
    logged = steps_logged([step.pk for step in missing]) if remove_missing else set()
    if logged:
        names = _names(step.code for step in missing if step.pk in logged)
        problems.add_error(f"{where}: step: the log tells of these, so they can't be removed: {names}: add them to the file")
    cut = steps_cut([step.pk for step in missing]) if remove_missing else set()
    if cut:
        names = _names(step.code for step in missing if step.pk in cut)
        problems.add_error(f"{where}: step: pieces of these were cut or are planned, so they can't be removed: {names}: add them")
    fitted = steps_named([step.pk for step in missing]) if remove_missing else set()
    if fitted:
        names = _names(step.code for step in missing if step.pk in fitted)
        problems.add_error(
            f"{where}: step: a conflict rests on these, or an assembly names them, so they can't be removed: {names}: add them to the file"
        )


def _check_closed(project: Project, stated: Stated, where: str, problems: Problems) -> None:
    """What is closed up stays as it is: no step of it goes, moves or is finished, and none comes to it."""
    for section, steps in closed_steps(project).items():
        kept = {code.upper(): done for code, done in steps}
        said = {code: step for code, (_, step) in stated.steps.items() if step.section.upper() == section.upper()}
        changed = [code for code, done in steps if code.upper() not in said or (said[code.upper()].done and not done)]
        changed += [step.code for code, step in said.items() if code not in kept]
        if changed:
            names = _names(changed)
            problems.add_error(f"{where}: section: {section} is closed up, and the file changes it: {names}: open it again first")


def _steps_judged(steps: Iterable[Step]) -> set[int]:
    """Those for which an inspector ever accepted something in place of what the plans say."""
    ids = [step.pk for step in steps]
    return {pk for batch in batches(ids) for pk in Substitution.objects.filter(step__in=batch).values_list("step_id", flat=True)}


def _warn(changes: PlanChanges, tables: Mapping[str, Table], codes: Codes, problems: Problems) -> None:
    where = tables["steps"].label
    for code, day in changes.dates_cleared:
        problems.add_warning(f"{where}: planned: {code} was planned for {day}, and now has no date")
    if changes.removed:
        problems.add_warning(f"{where}: step: removed, as the file has them not: {_names(changes.removed)}")
    if changes.call_outs_removed:
        gone = _names(f"{step} {codes.items[item].code}" for step, item in changes.call_outs_removed)
        problems.add_warning(f"{tables['needs'].label}: item: no longer needed, so removed: {gone}")


def _warn_gone(table: Table, column: str, gone: Iterable[str], problems: Problems) -> None:
    names = list(gone)
    if names:
        problems.add_warning(f"{table.label}: {column}: no longer in the file, so removed: {_names(names)}")


def _names(names: Iterable[str]) -> str:
    names = iter(names)
    first, rest = list(islice(names, MOST_NAMED)), len(list(names))
    return ", ".join(first) + (f" and {rest} more" if rest else "")


def _counts(plan: Plan, changes: PlanChanges) -> dict[str, int]:
    counts = {"steps": len(plan.steps), "new": changes.made, "changed": changes.changed, "removed": len(changes.removed)}
    return counts if plan.needs is None else {**counts, "call_outs": len(plan.needs)}
