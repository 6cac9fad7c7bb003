"""An invented single-phase 10 kVA pair on an invented bench: a source on LV, a motor on the loop."""
