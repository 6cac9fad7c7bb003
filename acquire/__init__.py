"""The daemon: clock, pollers, scan cycle, archive, configuration, rehearsal, command line."""
