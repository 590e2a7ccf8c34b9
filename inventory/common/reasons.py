"""Why a figure is what it is. Pure."""

from typing import NamedTuple


class Reason(NamedTuple):
    """One line of a trace: what was done with which inputs, and where the rule or the figure comes from."""

    text: str
    source: str
