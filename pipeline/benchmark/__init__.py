"""Efficient carry and windows at every club speed, and the speed-band tables."""
