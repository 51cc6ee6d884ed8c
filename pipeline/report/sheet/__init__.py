"""The golfers' printable sheets."""
