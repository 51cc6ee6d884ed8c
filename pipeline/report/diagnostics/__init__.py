"""The researcher's diagnostics of a fit."""
