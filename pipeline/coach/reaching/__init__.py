"""How often a golfer's drives reach a distance, and the distance that most of them reach."""
