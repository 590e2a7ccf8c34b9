"""The only writers of closing up. Locks: the section, so that of two who tick or close at once the later sees the earlier."""

from buildplan.closeup.gates import MOST_NOTE, MOST_POINTS, MOST_TEXT, Edit, close, edit_list, may_tick_seen, reopen, tick, untick
from buildplan.closeup.leak_tests import (
    MOST_NAME,
    MOST_SOURCE,
    MOST_WHY,
    Measured,
    Read,
    Stated,
    add_reading,
    change_leak_test,
    make_leak_test,
    strike_reading,
)

__all__ = [
    "MOST_NAME", "MOST_NOTE", "MOST_POINTS", "MOST_SOURCE", "MOST_TEXT", "MOST_WHY", "Edit", "Measured", "Read", "Stated",
    "add_reading", "change_leak_test", "close", "edit_list", "make_leak_test", "may_tick_seen", "reopen", "strike_reading", "tick",
    "untick",
]  # fmt: skip
