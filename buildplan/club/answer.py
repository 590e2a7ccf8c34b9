"""A day, a week and a statement as other programs read them; the statement as a file for spreadsheets too."""

import csv
from collections.abc import Iterable, Iterator
from io import StringIO
from typing import Any

from buildplan.club.changes import Borrow, Move, Widen
from buildplan.club.queries import ChangeRow, GoAhead, ItemRow, ShareRow, StepRow
from buildplan.club.services import token
from buildplan.club.sharing import money
from buildplan.club.statements import LineRow, ProjectRow, Statement
from buildplan.club.week import Row, Week
from buildplan.shortfall.sheet import text_cell
from inventory.common.fields import plain
from inventory.common.reasons import Reason
from inventory.pool.calc import Day

HEADINGS = ("kind", "project", "bench", "item", "name", "quantity", "unit", "without_cost", "cost", "currency", "why")


def day_object(found: GoAhead) -> dict[str, Any]:
    """Whether a day goes ahead: quantities are decimal strings in the stock unit, days ISO."""
    return {
        "day": found.day.isoformat(),
        "as_of": found.today.isoformat(),
        "goes": found.goes,
        "steps": [_step(step, found) for step in found.steps],
        "items": [_item(row) for row in found.items],
        "proposals": [
            {
                "token": token([row.change for row in one.changes]),
                "changes": [_change(row, found) for row in one.changes],
                "trace": _trace(one.trace),
            }
            for one in found.proposals
        ],
    }


def _step(step: StepRow, found: GoAhead) -> dict[str, Any]:
    bench = next(bench.code for bench in found.benches if bench.id == step.bench_id)
    return {"step": step.label, "title": step.title, "bench": bench, "minutes": step.minutes, "rule": step.rule}


def _item(row: ItemRow) -> dict[str, Any]:
    stand = row.found.stand
    return {
        "item": row.code,
        "unit": row.unit,
        "needed": plain(row.found.needed),
        "short": plain(row.short),
        "pool": {name: plain(getattr(stand, name)) for name in ("there", "lent", "booked", "free")},
        "steps": [_share(one) for one in row.shares],
        "spare": [{"bench": spare.bench.code, "quantity": plain(spare.quantity)} for spare in row.spare],
        "trace": _trace(row.trace),
    }


def _share(row: ShareRow) -> dict[str, Any]:
    share = row.share
    figures = {"needed": share.needed, "own": share.own, "promised": share.promised, "pool": share.pool, "lacking": share.lacking}
    return {"step": row.step, **{name: plain(quantity) for name, quantity in figures.items()}}


def _change(row: ChangeRow, found: GoAhead) -> dict[str, Any]:
    codes = {bench.id: bench.code for bench in found.benches}
    items = {one.id: one.code for one in found.items}
    said: dict[str, Any] = {"kind": row.kind, "text": row.text, "bench": row.bench.code, "step": row.step and row.step.label}
    match row.change:
        case Move(to=to):
            said["to"] = to.isoformat()
        case Widen(every=every):
            said["every"] = every
        case Borrow(taken=taken):
            said["items"] = [
                {"item": items[one.item], "quantity": plain(one.quantity), "for_bench": codes[one.taker]}
                for one in taken
                if one.item in items
            ]
    return said


def _trace(reasons: Iterable[Reason]) -> list[dict[str, str]]:
    return [{"text": reason.text, "source": reason.source} for reason in reasons]


def week_object(found: Week) -> dict[str, Any]:
    """Seven days of the pool, and how many steps each project plans on them."""
    return {
        "first": found.first.isoformat(),
        "last": found.last.isoformat(),
        "as_of": found.today.isoformat(),
        "rows": [_row(row) for row in found.rows],
        "work": [
            {"day": one.day.isoformat(), "steps": [{"project": project, "steps": count} for project, count in one.steps]}
            for one in found.work
        ],
    }


def _row(row: Row) -> dict[str, Any]:
    return {"item": row.code, "unit": row.unit, "thing": row.thing_id, "serial": row.serial, "days": [_day(day) for day in row.days]}


def _day(day: Day) -> dict[str, Any]:
    figures = {name: plain(getattr(day, name)) for name in ("there", "lent", "booked", "free", "over")}
    return {"day": day.day.isoformat(), **figures, "trace": _trace(day.trace)}


def statement_object(found: Statement) -> dict[str, Any]:
    """A period's use of shared material: money is text with two decimals, in the club's currency; null where no cost is set."""
    return {
        "first": found.first.isoformat(),
        "last": found.last.isoformat(),
        "currency": found.currency,
        "total": money(found.cents),
        "projects": [_project(row) for row in found.projects],
        "members": [{"member": row.member, "bench": row.bench.code, "among": row.among, "cost": money(row.cents)} for row in found.members],
        "trace": _trace(found.trace),
    }


def _project(row: ProjectRow) -> dict[str, Any]:
    return {
        "project": row.code or None,
        "bench": row.bench.code if row.bench else None,
        "cost": money(row.cents),
        "lines": [_line(line) for line in row.lines],
    }


def _line(row: LineRow) -> dict[str, Any]:
    line = row.line
    return {
        "item": row.material.code,
        "unit": row.material.unit,
        "quantity": plain(line.quantity),
        "without_cost": plain(line.unpriced),
        "cost": None if line.unpriced == line.quantity else money(line.cents),
        "trace": _trace(line.trace),
    }


def statement_csv(found: Statement) -> str:
    """One row for each material of a project, one for each member's share of a bench."""
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(HEADINGS)
    for project in found.projects:
        writer.writerows(_cells(project, row, found.currency) for row in project.lines)
    writer.writerows(_member_cells(found))
    return out.getvalue()


def _cells(project: ProjectRow, row: LineRow, currency: str) -> list[str]:
    line = row.line
    return [
        "material",
        *map(text_cell, (project.code, project.bench.code if project.bench else "", row.material.code, row.material.name)),
        plain(line.quantity),
        text_cell(row.material.unit),
        plain(line.unpriced),
        "" if line.unpriced == line.quantity else money(line.cents),
        text_cell(currency),
        text_cell("; ".join(f"{reason.text} [{reason.source}]" for reason in line.trace)),
    ]


def _member_cells(found: Statement) -> Iterator[list[str]]:
    for row in found.members:
        why = f"an even share of {row.among} of the bench's cost"
        yield [
            "member",
            "",
            text_cell(row.bench.code),
            "",
            text_cell(row.member),
            "",
            "",
            "",
            money(row.cents),
            text_cell(found.currency),
            why,
        ]
