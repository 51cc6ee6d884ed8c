"""The coach's page for the range."""
