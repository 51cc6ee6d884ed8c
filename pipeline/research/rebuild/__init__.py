"""A run made again from its record."""
