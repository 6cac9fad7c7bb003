"""The shared calculation core: from readings to results. No I/O, no clock, no configuration."""
