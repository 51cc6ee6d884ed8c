"""How straight golfers drive, and who may be compared with whom in it."""
