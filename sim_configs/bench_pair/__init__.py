"""An invented single-phase 10 kVA pair on an invented bench: a source and a motor feed it."""
