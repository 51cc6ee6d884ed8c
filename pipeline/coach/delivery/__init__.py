"""What a change of loft or attack goes with, and what it might bring each golfer."""
