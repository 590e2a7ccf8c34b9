"""Rivets, holes, drills and clecos: the arithmetic under one roof. Pure."""

from buildplan.hardware.clecos import cleco_colour, cleco_every, clecos_for_row, pin_peak
from buildplan.hardware.drills import HOLES, HoleLimits, Tool, drill_fits, drill_mm, drill_note, drill_size, tools_for
from buildplan.hardware.lengths import (
    Figure,
    Pick,
    Policy,
    call_out_question,
    check_figures,
    exact_length,
    length_reasons,
    long_grip_addition,
    pick_stocked,
    rivet_length,
    thinnest_countersunk_sheet,
)
from buildplan.hardware.substitutes import may_serve
from inventory.catalogue.rivets import (
    Fault,
    Head,
    Rivet,
    RivetCodeError,
    format_rivet,
    parse_rivet,
    rivet_identifiers,
    rivet_notes,
)

__all__ = [
    "HOLES",
    "Fault",
    "Figure",
    "Head",
    "HoleLimits",
    "Pick",
    "Policy",
    "Rivet",
    "RivetCodeError",
    "Tool",
    "call_out_question",
    "check_figures",
    "cleco_colour",
    "cleco_every",
    "clecos_for_row",
    "drill_fits",
    "drill_mm",
    "drill_note",
    "drill_size",
    "exact_length",
    "format_rivet",
    "length_reasons",
    "long_grip_addition",
    "may_serve",
    "parse_rivet",
    "pick_stocked",
    "pin_peak",
    "rivet_identifiers",
    "rivet_length",
    "rivet_notes",
    "thinnest_countersunk_sheet",
    "tools_for",
]
