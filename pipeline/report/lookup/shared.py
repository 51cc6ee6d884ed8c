"""Scripts of the coach's page that the academy's page takes as they are."""

# How figures are shown, what a person types, and files of names; each may use those before it.
SHARED_SCRIPTS = ("lookup_shown.js", "lookup_words.js", "lookup_students.js")
