"""study.yaml and the layouts: every key with type, unit, bounds and default, and what is wrong with them in words."""
