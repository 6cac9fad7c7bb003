"""Gate, evidence, protection and run, on scans that are built or simulated."""
