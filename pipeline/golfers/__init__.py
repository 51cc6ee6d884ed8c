"""Yards lost by golfers: how many, where they go, and who is flagged."""
