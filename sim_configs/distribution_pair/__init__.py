"""An invented single-phase 100 kVA pair on an invented stand."""
