"""What changed for golfers from quarter to quarter, and how much of it is more than chance."""
