"""Files that the demo's run doesn't make: those of a target, a key or a decision that it hasn't."""

ON_REQUEST = [
    "model/sensitivity.html",
    "model/sensitivity.csv",
    "model/regressors.csv",
    "golfers/reference.csv",  # of results by hand
    "collected/regressors.parquet",
    "collected/in_use/",
    "flight/in_use/",
    "by-model/",
    "trials/",
]
