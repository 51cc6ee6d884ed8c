"""The academy director's page."""
