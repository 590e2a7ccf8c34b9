from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st
from networkx import DiGraph, is_directed_acyclic_graph

from buildplan.plan.calc import loops


@pytest.mark.parametrize(
    ("afters", "found"),
    [
        ({}, []),
        ({"A": (), "B": ("A",), "C": ("A", "B")}, []),
        ({"A": ("A",)}, [("A", "A")]),
        ({"A": ("B",), "B": ("A",)}, [("A", "B", "A")]),
        ({"A": ("B",), "B": ("C",), "C": ("A",)}, [("A", "B", "C", "A")]),
        ({"X": ("A",), "A": ("B",), "B": ("C",), "C": ("B",)}, [("B", "C", "B")]),
        ({"A": ("B",), "B": ("A",), "C": ("D",), "D": ("C",)}, [("A", "B", "A"), ("C", "D", "C")]),
    ],
)
def test_loops_names_each_chain_that_leads_back(afters, found):
    assert list(loops(afters)) == found


def test_loops_passes_over_what_no_step_is():
    assert list(loops({"A": ("NOWHERE",)})) == []


def test_loops_walks_a_chain_of_many_steps():
    chain = {str(step): (str(step + 1),) for step in range(20_000)}
    assert list(loops(chain)) == []
    assert [len(loop) for loop in loops({**chain, "20000": ("0",)})] == [20_002]


@given(st.dictionaries(st.sampled_from("ABCDEFG"), st.lists(st.sampled_from("ABCDEFG"), unique=True), min_size=1))
def test_loops_are_loops_and_one_cut_in_each_leaves_none(afters):
    graph = DiGraph([(step, after) for step, waits in afters.items() for after in waits])
    found = list(loops(afters))
    for loop in found:
        links = list(pairwise(loop))
        assert loop[0] == loop[-1]
        assert all(graph.has_edge(*link) for link in links)
        graph.remove_edges_from(links[-1:])
    assert is_directed_acyclic_graph(graph)
