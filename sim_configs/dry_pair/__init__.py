"""An invented single-phase 160 kVA dry-type pair on an invented stand."""
