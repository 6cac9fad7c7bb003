"""Readings taken by hand: tables, plant's side, reduction, results, budgets."""
