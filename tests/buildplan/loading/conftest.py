import pytest

from tests import loads


@pytest.fixture
def catalogue(workshop, bench, tmp_path):
    """Three items, loaded into our workshop, which has one own bench."""
    rows = [f"{row},{codes}" for row, codes in ((loads.RIVETS, "AN470AD4-6"), (loads.SEALANT, ""), (loads.ANGLE, ""))]
    loads.loaded("catalogue", loads.table(tmp_path / "items.csv", f"{loads.CATALOGUE},identifiers", *rows))


@pytest.fixture
def file(tmp_path):
    """Writes a CSV file of that name."""
    return lambda name, *lines: loads.table(tmp_path / name, *lines)
