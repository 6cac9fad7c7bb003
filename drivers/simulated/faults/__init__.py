"""The faults that a simulated stand can be given, each by its name."""
