"""A step's place in the plan: layers, what is cut, rings; against the longest paths and the reduction of networkx."""

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from buildplan.plan.place import AHEAD, BACK, SLOTS, place
from buildplan.plan.place_chart import BOX, place_chart


def placed(step, after, done=()):
    steps = {step, *after, *(one for found in after.values() for one in found)}
    return place(step, after, frozenset(done), {one: (0, one) for one in steps})


def told(found):
    return {layer.far: (list(layer.steps), layer.more) for layer in found.layers}


def test_step_alone_is_its_only_layer():
    found = placed(1, {})
    assert told(found) == {0: ([1], 0)}
    assert (found.earlier, found.later, found.lines) == (0, 0, ())


def test_what_it_waits_for_stands_before_it_and_what_waits_behind():
    found = placed(3, {2: [1], 3: [2], 4: [3], 5: [3]})
    assert told(found) == {-2: ([1], 0), -1: ([2], 0), 0: ([3], 0), 1: ([4, 5], 0)}
    assert set(found.lines) == {(1, 2), (2, 3), (3, 4), (3, 5)}


def test_chain_ends_at_a_step_that_is_done():
    assert told(placed(4, {2: [1], 3: [2], 4: [3]}, done=[2])) == {-2: ([2], 0), -1: ([3], 0), 0: ([4], 0)}


def test_step_lies_behind_the_longest_way_to_it():
    found = placed(9, {9: [1, 3], 3: [2], 2: [1]})
    assert told(found) == {-3: ([1], 0), -2: ([2], 0), -1: ([3], 0), 0: ([9], 0)}
    assert set(found.lines) == {(1, 2), (2, 3), (3, 9)}  # from 1 to 9 is said by the others


def test_line_that_no_chain_says_passes_the_rows_between():
    found = placed(9, {9: [2, 4], 2: [1], 4: [3], 3: [1], 8: [9]})
    assert (1, 2) in found.lines
    chart = place_chart(found)
    assert len(chart.strokes) > len(found.lines)


def test_many_side_by_side_are_cut_and_those_not_done_come_first():
    found = placed(9, {9: [1, 2, 3, 4, 5]}, done=[1, 3])
    assert told(found)[-1] == ([2, 4], 3)


def test_far_layers_are_counted():
    after = {step: [step - 1] for step in range(2, 21)}
    found = placed(10, after)
    assert [layer.far for layer in found.layers] == list(range(-BACK, AHEAD + 1))
    assert (found.earlier, found.later) == (9 - BACK, 10 - AHEAD)


def test_chain_of_thousands_is_no_trouble():
    found = placed(5000, {step: [step - 1] for step in range(2, 5001)})
    assert found.earlier == 4999 - BACK


@pytest.mark.parametrize("after", [{1: [2], 2: [1]}, {1: [2], 2: [3], 3: [2]}, {1: [2, 4], 2: [3], 3: [4], 4: [2]}, {1: [1]}])
def test_ring_ends(after):
    found = placed(1, after)
    assert set(found.shown) == {1, *after}
    assert place_chart(found).boxes


edges = st.lists(st.tuples(st.integers(1, 12), st.integers(1, 12)).filter(lambda pair: pair[0] != pair[1]), max_size=30, unique=True)


@given(edges, st.sets(st.integers(1, 12), max_size=4), st.integers(1, 12))
@settings(max_examples=60)
def test_layers_are_longest_paths_and_lines_their_reduction(pairs, done, step):
    after = {}
    for first, second in {(min(pair), max(pair)) for pair in pairs}:  # no rings: a later one waits for an earlier one
        after.setdefault(second, []).append(first)
    found = placed(step, after, done)
    far = {one: layer.far for layer in found.layers for one in layer.steps}

    for links, sign in ((after, -1), (_turned(after), 1)):
        graph = _reached(step, links, done)
        longest = {one: max((len(path) - 1 for path in nx.all_simple_paths(graph, step, one)), default=0) for one in graph}
        shown = {one: at for one, at in far.items() if at * sign > 0}
        assert all(longest[one] == abs(at) for one, at in shown.items())
        beyond = sum(at > (BACK if sign < 0 else AHEAD) for at in longest.values())
        assert beyond == (found.earlier if sign < 0 else found.later)
        layers = [layer for layer in found.layers if layer.far * sign > 0]
        assert sum(len(layer.steps) + layer.more for layer in layers) + beyond == len(graph) - 1
        assert all(len(layer.steps) + bool(layer.more) <= SLOTS for layer in layers)

    every = nx.DiGraph()
    every.add_nodes_from(far)
    of_shown = [(one, other) for other in far for one in after.get(other, ()) if one in far and far[one] < far[other]]
    every.add_edges_from((one, other) for one, other in of_shown if far[one] * far[other] >= 0)
    assert set(found.lines) == set(nx.transitive_reduction(every).edges)


def _turned(after):
    turned = {}
    for step, found in after.items():
        for one in found:
            turned.setdefault(one, []).append(step)
    return turned


def _reached(step, links, done):
    graph = nx.DiGraph()
    graph.add_node(step)
    left, seen = [step], set()
    while left:
        one = left.pop()
        if one in seen or (one in done and one != step):
            continue
        seen.add(one)
        for other in links.get(one, ()):
            graph.add_edge(one, other)
            left.append(other)
    return graph


@given(edges, st.integers(1, 12))
@settings(max_examples=30)
def test_boxes_never_overlap_and_lines_pass_none(pairs, step):
    after = {}
    for first, second in {(min(pair), max(pair)) for pair in pairs}:
        after.setdefault(second, []).append(first)
    chart = place_chart(placed(step, after))
    width = float(chart.width.removesuffix("%"))
    boxes = [(float(box.x.removesuffix("%")), box.y) for box in chart.boxes]
    for at, (x, y) in enumerate(boxes):
        assert -0.01 <= x <= 100 - width + 0.01
        assert 0 <= y <= chart.height - BOX
        assert all(abs(x - other_x) >= width or abs(y - other_y) > BOX for other_x, other_y in boxes[at + 1 :])
    for stroke in chart.strokes:
        if stroke.y2 - stroke.y1 == BOX:  # the part that passes a row stands upright in a gap
            x = float(stroke.x1.removesuffix("%"))
            assert all(not left < x < left + width for left, y in boxes if y == stroke.y1)
