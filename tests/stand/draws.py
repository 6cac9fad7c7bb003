"""What the random runs are drawn from, drawn by Hypothesis so that it can make failures smaller."""

from hypothesis import strategies as st

from acquire.storm.acts import draw_act, draw_honest_scans
from acquire.storm.plants import Plant, draw_plant
from acquire.storm.wild import Act


def plants() -> st.SearchStrategy[Plant]:
    """Return any pair, right or wrong, on any stand."""
    return st.randoms().map(draw_plant)


def honest_scans() -> st.SearchStrategy[int]:
    """Return how many honest scans come first."""
    return st.randoms().map(draw_honest_scans)


def acts() -> st.SearchStrategy[Act]:
    """Return anything that the wild procedure does, or people around it."""
    return st.randoms().map(draw_act)
