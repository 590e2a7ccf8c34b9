"""Writing down hands, conflicts and match marks; what each subject writes stands in a module of its own."""

from buildplan.fitting.assemblies import (
    Done,
    Piece,
    add_positions,
    edit_assembly,
    make_assembly,
    mark,
    note_deed,
    remove_position,
    replace,
    set_steps,
    take_away,
    take_for,
)
from buildplan.fitting.conflicts import add_answer, edit_conflict, record_conflict, reopen, set_resting, settle
from buildplan.fitting.hands import hold_items, pair, remove_false_mirror, set_false_mirror, state_hand, undo_pair
from buildplan.fitting.problems import StepHeld
from buildplan.fitting.queries import open_conflicts
from buildplan.plan.models import Step

__all__ = [
    "Done", "Piece", "add_answer", "add_positions", "edit_assembly", "edit_conflict", "hold_items", "make_assembly", "mark", "note_deed",
    "pair", "record_conflict", "refuse_if_held", "remove_false_mirror", "remove_position", "reopen", "replace", "set_false_mirror",
    "set_resting", "set_steps", "settle", "state_hand", "take_away", "take_for", "undo_pair",
]  # fmt: skip


def refuse_if_held(step: Step) -> None:
    """Refuse where `step` rests on a conflict of text and drawing that isn't settled. One query."""
    held = open_conflicts([step.pk]).get(step.pk)
    if held:
        raise StepHeld(f"{step.code} is held: {'; '.join(one.held_text for one in held)}")
