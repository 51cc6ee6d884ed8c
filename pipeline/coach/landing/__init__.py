"""How drives land and run on each turf, and the best delivery for total."""
