"""The heat of the simulated pair: units, the room that they stand in, sensors."""
