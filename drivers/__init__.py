"""What talks to the world: readings, links, instruments described in data, outputs."""
