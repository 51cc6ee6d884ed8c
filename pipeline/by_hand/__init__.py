"""Studies of results by hand: club speed and carry alone, so no flight, no model, no causes."""
