"""Ball flight, run and impact in SI: a library that knows nothing of logs or golfers."""
