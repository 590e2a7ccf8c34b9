"""Cutting 120 pieces of 20 to 100 from bars of 150 (the size of the bin packing class u120) to the proven bound, beside a first fit.

`python -m tests.benchmarks.cutting`. Each instance is made by its seed; none is taken from anywhere. Goal: each solved to its bound.
"""

import random
import sys
from time import perf_counter

from buildplan.cutting.calc import _task, cut, first_fit

INSTANCES, PIECES, BAR = 20, 120, 150
LEAST, MOST = 20, 100


def instance(seed, pieces=PIECES):
    """Lengths with their counts."""
    rng = random.Random(seed)
    counts = {}
    for _ in range(pieces):
        length = rng.randint(LEAST, MOST)
        counts[length] = counts.get(length, 0) + 1
    return counts


def measure(instances=INSTANCES, pieces=PIECES):
    """For each seed the bars of first fit decreasing, of the plan and of its bound, with the seconds that both took."""
    found = []
    for seed in range(instances):
        wanted = instance(seed, pieces)
        start = perf_counter()
        task, *_ = _task(wanted, BAR, 0, 0)
        simple = sum(times for _, times in first_fit(task))
        middle = perf_counter()
        plan = cut(wanted, BAR, 0)
        end = perf_counter()
        found.append((seed, simple, plan.count, plan.bound, plan.proven, middle - start, end - middle))
    return found


def main():
    """Print the table; exit 1 where one isn't solved to its bound."""
    print("seed  first fit  plan  bound  proven  first fit s  plan s")
    rows = measure()
    for seed, simple, count, bound, proven, quick, whole in rows:
        print(f"{seed:4}  {simple:9}  {count:4}  {bound:5}  {proven!s:6}  {quick:11.4f}  {whole:6.2f}")
    open_rows = [row for row in rows if not row[4]]
    took = [sum(row[at] for row in rows) for at in (5, 6)]
    print(f"{len(rows) - len(open_rows)} of {len(rows)} solved to the proven bound; {took[1]:.2f} s beside {took[0]:.4f} s of first fit")
    return 1 if open_rows else 0


if __name__ == "__main__":
    sys.exit(main())
