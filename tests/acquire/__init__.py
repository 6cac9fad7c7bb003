"""Tests of the daemon's parts: configuration, archive, log, report, command line."""
