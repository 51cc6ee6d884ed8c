"""Which scripts the coach's page and the academy's share; `pipeline.report.templating` finds them for any page."""

# How figures are shown, what a person types, and files of names; each may use those before it.
SHARED_SCRIPTS = ("lookup_shown.js", "lookup_words.js", "lookup_students.js")
