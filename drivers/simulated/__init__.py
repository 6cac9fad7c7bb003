"""A simulated test stand behind the very links that a real one has."""
