"""Which line a scan ticks off, and what is said where it is none."""

import pytest

from buildplan.tonight.picking import Line, NotPicked, Scanned, line_of

TUB = Line("1-7", 1, "CLECO", 1, "TUB", 7, "Drawer 2")
RIVET = Line("2-8", 2, "RIVET", 2, "R-1", 8, "Drawer 10")
ELSEWHERE = Line("2-9", 2, "RIVET", 2, "R-1", 9, "Drawer 11")
OTHER = Line("3-9", 2, "RIVET", 3, "R-2", 9, "Drawer 11")
BARE = Line("4-9", 4, "SPAR", 4, "", 9, "Drawer 11")
DONE = frozenset

TICKS = [
    (Scanned(2, "RIVET"), [TUB, RIVET], DONE(), RIVET),
    (Scanned(2, "RIVET", 3, "R-2"), [RIVET, OTHER], DONE(), OTHER),
    (Scanned(2, "RIVET", None, "r-2"), [RIVET, OTHER], DONE(), OTHER),
    (Scanned(2, "RIVET", 2, "R-1"), [RIVET, ELSEWHERE], DONE(), RIVET),
    (Scanned(2, "RIVET", 2, "R-1"), [RIVET, ELSEWHERE], DONE({"2-8"}), ELSEWHERE),
    (Scanned(2, "RIVET"), [RIVET, OTHER], DONE({"2-8"}), OTHER),
    (Scanned(4, "SPAR", None, "printed"), [BARE], DONE(), BARE),
    (Scanned(place_id=8, path="Drawer 10"), [TUB, RIVET], DONE(), RIVET),
    (Scanned(place_id=9, path="Drawer 11"), [OTHER, BARE], DONE({"3-9"}), BARE),
]
REFUSED = [
    (Scanned(5, "NUT"), [RIVET], DONE(), "^NUT is not on this list$"),
    (Scanned(5, "NUT", 9, "N-1"), [RIVET], DONE(), "^NUT, lot N-1 is not on this list$"),
    (
        Scanned(2, "RIVET", 9, "R-9"),
        [RIVET],
        DONE(),
        "^wrong lot: this is lot R-9 of RIVET, and the list wants lot R-1 in Drawer 10.",
    ),
    (Scanned(2, "RIVET", None, "R-9"), [RIVET, OTHER], DONE(), "wants lot R-1 in Drawer 10 and lot R-2 in Drawer 11"),
    (Scanned(4, "SPAR", 8, ""), [BARE], DONE(), "this is lot without a code of SPAR, and the list wants no lot code in Drawer 11"),
    (Scanned(2, "RIVET"), [RIVET], DONE({"2-8"}), "^RIVET is ticked off already: lot R-1 in Drawer 10$"),
    (Scanned(2, "RIVET"), [RIVET, OTHER], DONE(), "from several lots: lot R-1 in Drawer 10 and lot R-2 in Drawer 11. Scan the label"),
    (Scanned(place_id=5, path="Drawer 5"), [RIVET], DONE(), "^nothing of this list lies in Drawer 5$"),
    (Scanned(place_id=8, path="Drawer 10"), [RIVET], DONE({"2-8"}), "^all of this list that lies in Drawer 10 is ticked off already$"),
    (Scanned(place_id=9, path="Drawer 11"), [OTHER, BARE], DONE(), "^2 lines of this list lie in Drawer 11: RIVET, SPAR. Scan each"),
]


def test_scan_ticks_off_the_one_line_that_it_means():
    for scanned, lines, ticked, wanted in TICKS:
        assert line_of(scanned, lines, ticked) == wanted, scanned


def test_scan_that_means_no_line_or_several_says_what_would_do():
    for scanned, lines, ticked, said in REFUSED:
        with pytest.raises(NotPicked, match=said) as refused:
            line_of(scanned, lines, ticked)
        assert refused.value.field == "code"
