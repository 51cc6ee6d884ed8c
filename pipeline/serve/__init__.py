"""The pages over HTTP: on this machine, and the coach's page alone for a phone."""
