"""Every way to cut a few pieces from a few bars, one by one: an oracle that knows nothing of patterns."""


def most_pieces(pieces, rooms):
    """The most pieces (with their kerf) that these rooms hold, and the least room of bars that then are cut."""
    best = [(0, 0)]
    ordered = sorted(pieces, reverse=True)
    full = tuple(rooms)

    def place(at, left, count):
        if count + len(ordered) - at < -best[0][0]:
            return
        if at == len(ordered):
            used = sum(room for room, rest in zip(full, left, strict=True) if rest != room)
            best[0] = min(best[0], (-count, used))
            return
        seen = set()
        for bar, rest in enumerate(left):
            if ordered[at] <= rest and (rest, full[bar]) not in seen:
                seen.add((rest, full[bar]))
                place(at + 1, (*left[:bar], rest - ordered[at], *left[bar + 1 :]), count + 1)
        place(at + 1, left, count)

    place(0, full, 0)
    return -best[0][0], best[0][1]
