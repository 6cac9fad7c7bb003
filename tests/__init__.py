"""Tests: mirrors of the rooms, outside references, whole runs."""
