"""Which trace is asked for: the same words on pages, in the API and in the command."""

from collections.abc import Mapping

from buildplan.fitting.models import Assembly
from buildplan.plan.models import Project, Section, Step
from buildplan.trace import queries
from buildplan.trace.queries import CameFrom, Went
from inventory.catalogue import calc as codes
from inventory.common.problems import NotHere, Problem
from inventory.models import Identifier, Item, Lot


class AskOne(Problem):
    """A trace starts from one thing."""

    title = "Say what to trace"


def found_by(asked: Mapping[str, str]) -> Went | CameFrom | None:
    """The trace that `lot`, `code` (and `item`), `project` (and `step` or `section`) or `assembly` ask for; None where nothing is asked.

    What is named and isn't of this workshop is a 404.
    """
    given = {name: str(asked.get(name) or "").strip() for name in ("lot", "code", "item", "project", "step", "section", "assembly")}
    starts = [name for name in ("lot", "code", "project", "assembly") if given[name]]
    if len(starts) > 1:
        raise AskOne(f"{' and '.join(starts)} were given: a trace starts from one of them")
    if not starts:
        if given["step"] or given["section"]:
            raise AskOne("a step or section is of a project: name that too")
        return None
    if given["lot"]:
        return queries.from_lot(_lot(given["lot"]))
    if given["code"]:
        return queries.from_code(given["code"], _item(given["item"]))
    if given["assembly"]:
        return queries.from_assembly(_assembly(given["assembly"]))
    return _of_project(given)


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdecimal() and len(text) < 18 else 0  # noqa: PLR2004 - what a row's id can be


def _lot(text: str) -> Lot:
    lot = Lot.objects.select_related("item").filter(pk=_number(text)).first()
    if lot is None:
        raise NotHere(f"there is no lot number {text} here: to follow what a label says, give its lot code")
    return lot


def _item(text: str) -> Item | None:
    if not text:
        return None
    found = Identifier.objects.filter(key=codes.key(text)).select_related("item").first()
    if found is None:
        raise NotHere(f"there is no item {text} here")
    return found.item


def _assembly(text: str) -> Assembly:
    found = Assembly.objects.select_related("project").filter(pk=_number(text)).first()
    if found is None:
        raise NotHere(f"there is no assembly {text} here")
    return found


def _of_project(given: Mapping[str, str]) -> CameFrom:
    project = Project.objects.filter(code__iexact=given["project"]).first()
    if project is None:
        raise NotHere(f"there is no project {given['project']} here")
    if given["step"] and given["section"]:
        raise AskOne("step and section were given: a trace starts from one of them")
    if given["step"]:
        step = Step.objects.select_related("project").filter(project=project, code__iexact=given["step"]).first()
        if step is None:
            raise NotHere(f"there is no step {given['step']} of {project.code} here")
        return queries.from_step(step)
    if given["section"]:
        section = Section.objects.select_related("project").filter(project=project, name__iexact=given["section"]).first()
        if section is None:
            raise NotHere(f"there is no section {given['section']} of {project.code} here")
        return queries.from_section(section)
    return queries.from_project(project)
