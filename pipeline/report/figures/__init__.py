"""Figures that people look at, and their common look."""
