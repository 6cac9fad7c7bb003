"""Simulated stands as data, one folder a scenario; every figure in them is invented."""
