"""The only writers of blanks, pieces, cuts and what was done to pieces. What each subject writes stands in a module of its own."""

from buildplan.cutting.keeping import Shown, left_of, shown_of
from buildplan.cutting.measuring import Kept, Release, hold_for_measuring, measure
from buildplan.cutting.planning import Layout, look_at, plan_cut, undo_cut
from buildplan.cutting.problems import BlankPromised, CutHere, CutOver, DoesNotFit, NotThatMany, Strands
from buildplan.cutting.sawing import saw_cut, spoil_pieces
from buildplan.cutting.stating import (
    BlankData,
    PlannedPiece,
    put_pieces,
    remove_blank,
    remove_piece,
    save_blank,
    save_piece,
    set_rules,
)
from buildplan.cutting.working import note_done, remove_operation, save_operation, take_back_done

__all__ = [
    "BlankData", "BlankPromised", "CutHere", "CutOver", "DoesNotFit", "Kept", "Layout", "NotThatMany", "PlannedPiece", "Release",
    "Shown", "Strands", "hold_for_measuring", "left_of", "look_at", "measure", "note_done", "plan_cut", "put_pieces", "remove_blank",
    "remove_operation", "remove_piece", "save_blank", "save_operation", "save_piece", "saw_cut", "set_rules", "shown_of",
    "spoil_pieces", "take_back_done", "undo_cut",
]  # fmt: skip
