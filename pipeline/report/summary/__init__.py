"""What a run made, for the record and for whoever started it."""
