"""Drafting a layout from a log alone: what is written where, in which unit, and how sure that is."""
