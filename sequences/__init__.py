"""What may happen on a test stand, and when."""
