"""Figures, each a ratio against the bare thing underneath in the same run."""
