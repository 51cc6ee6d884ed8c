// Names on the spot.
