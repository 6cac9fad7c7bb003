"""Seeded storms, and what they find that was planted."""
