"""Storms: seeded rehearsals under faults, judged on what is truly so."""
