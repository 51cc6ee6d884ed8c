"""The band table as a text to publish."""

import dataframely as dy

from pipeline.report.display import markdown_table
from pipeline.report.shown_tables import show_bands, show_totals
from pipeline.tables.figures import BandTable

HOW_TO_READ_BANDS = """\
A band is named by the center of its range of club speed. Percentiles run over golfers, each one's typical drive moved
to the band's center; golfers of other bands count too, the less the farther they are. Each is a mean of the golfers
nearest in rank, in whole yards, and empty where the band's are too few; its 90 % interval, in parentheses, is for
golfers like these at the band's center.
Carry is at standard conditions: each drive's measured carry is changed by the difference between
ball flight there and ball flight in the air and wind in which it was hit. Efficient carry is the largest carry to be
expected at the center over deliveries that golfers of that speed produce; every drive inside both windows is expected
to come close to it. A 90 % interval says how well the figure is known, not how drives scatter. Speed ratio is ball
speed over club speed. Golfers and drives are rounded, so that one golfer more or less doesn't show.
"""

HOW_TO_READ_TOTALS = """\
Total is carry and roll. Roll is calculated, not measured: flight gives the landing at standard conditions, and the
turf is an assumed fairway of the firmness that the key flight.turf of study.yaml names. So totals are less sure than
carry. Efficient total is the largest total to be expected over the same deliveries; it may need another delivery than
the efficient carry, so the windows for total are its own.
"""


def bands_markdown(bands: dy.DataFrame[BandTable], *, min_golfers: int) -> str:
    """Write the band table as a markdown document.

    Parameters
    ----------
    bands : DataFrame
        The band table, all quarters.
    min_golfers : int
        Fewest golfers behind a published figure.

    Returns
    -------
    str
        A heading, the table and how to read it, then the same for carry and roll together.
    """
    carry = markdown_table(show_bands(bands, min_golfers=min_golfers, every_interval=True))
    total = markdown_table(show_totals(bands, min_golfers=min_golfers))
    return f"# Speed bands\n\n{carry}\n{HOW_TO_READ_BANDS}\n## Carry and roll together\n\n{total}\n{HOW_TO_READ_TOTALS}"
