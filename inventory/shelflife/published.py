"""Lives of rubber after its cure date, as published: to choose by, never filled in by itself. Pure."""

from dataclasses import dataclass

from inventory.common.reasons import Reason

_SUMMARY = "Global O-Ring summary of SAE AS5316; MIL-HDBK-695E"


@dataclass(frozen=True, slots=True)
class PublishedLife:
    """How many months each source gives from the last day of the cure quarter; none where no source sets an end."""

    what: str
    months: tuple[int, ...]
    reason: Reason


RUBBER = (
    PublishedLife("nitrile (NBR)", (180,), Reason("15 years", _SUMMARY)),
    PublishedLife("polyurethane", (60,), Reason("5 years", _SUMMARY)),
    PublishedLife("fluorocarbon (FKM)", (), Reason("no end is set", _SUMMARY)),
    PublishedLife(
        "styrene butadiene (SBR)",
        (36, 180),
        Reason("3 or 15 years: sources disagree, so ask the maker", "MIL-HDBK-695E against Daemar's summary"),
    ),
    PublishedLife("hose", (144,), Reason("48 quarters", "WMT supplier sheet; of SAE AS1933 only the title was seen")),
)
