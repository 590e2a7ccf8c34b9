"""How the server's process keeps its memory."""

import gc


def settle() -> None:
    """Call once all modules are loaded: they live as long as the server, so no later collection need look through them.

    A netting makes tens of thousands of small rows that reference counting frees again. At Python's default of 700 new objects
    a collection would run through them dozens of times, for a fifth of the answer's time, and find nothing.
    """
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 20)
