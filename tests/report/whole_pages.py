"""The academy's page and its data as a whole, gathered from the pieces in which they are made."""

from pipeline.report.page.page import build_page
from pipeline.report.page.payload import payload_of as in_pieces


def payload_of(**inputs):
    """Give the page's data with rows and dots as lists, and stories by golfer."""
    made = in_pieces(**inputs)
    golfers = made["golfers"] | {"rows": list(made["golfers"]["rows"])}
    return made | {"golfers": golfers, "dots": list(made["dots"]), "stories": dict(made["stories"])}


def page_of(payload):
    """Build the page of such data; stories are in the order of the rows."""
    stories = payload["stories"]
    told = ((row[0], stories[row[0]]) for row in payload["golfers"]["rows"] if row[0] in stories)
    return "".join(build_page(payload | {"stories": told}))
