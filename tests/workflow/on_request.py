"""Files that a run makes only when its target is named."""

ON_REQUEST = ["model/sensitivity.html", "model/sensitivity.csv"]
