"""Whole runs and parts of them, on the simulated stand."""
