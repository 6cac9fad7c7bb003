"""The one shape of tables on the terminal: words first, figures to the right."""

from rich import box
from rich.table import Table


def table_of(title: str, first: str, *rest: str, gap: tuple[int, int] = (0, 1)) -> Table:
    """Return a table under a title; `gap` is left and right of a column's cells."""
    right, left = gap[1], gap[0]
    table = Table(
        title=title,
        title_style="bold",
        title_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, right, 0, left),
        pad_edge=False,
        show_edge=False,
    )
    table.add_column(first, overflow="fold")
    for name in rest:
        table.add_column(name, justify="right", overflow="fold")
    return table
