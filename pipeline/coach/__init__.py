"""What to work on, goals, progress, speed practice."""
