"""The simulated stand's instruments on real wires: sockets and pseudo-terminals."""
