"""The table of devices: how their readings differ from the reference device's."""

from pipeline.tables import columns as cols

READING_WORDS = ("club_speed", "ball_speed", "launch", "spin", "speed_ratio", "carry_over_flight")


class Devices(cols.Table):
    """Readings of each device against those of the reference device. A study with one device has no row."""

    FILES = ("flight/devices.csv",)
    ROW = "device and reading"
    STORED = "devices"

    device = cols.text("Device", "What measured the drives; unstated where no log says.", primary_key=True)
    reading = cols.word(
        "Reading",
        "What is compared. speed_ratio is ball over club speed of the better golfers' better strikes; "
        "carry_over_flight is carry over the flight of the readings before any calibration: it hints at which speed is "
        "misread. What a device adds to carry stands in coefficients.csv.",
        READING_WORDS,
        primary_key=True,
    )
    reference = cols.text("Reference", "The device whose readings are taken as they are.")
    difference = cols.number(
        "Difference",
        "How much more the device reads than the reference: a share, or deg for launch. Empty if not known.",
        decimals=4,
        nullable=True,
    )
    std_error = cols.number(
        "Difference, standard error", "Of the difference. Empty if not known.", decimals=4, nullable=True, min=0
    )
    lo90, hi90 = cols.ends("Difference", why_empty="Empty if not known.", decimals=4)
    golfers = cols.count("Golfers", "Golfers who hit on both devices, or on this one where two groups are compared.")
    compared_by = cols.word(
        "Compared by",
        "same golfers: those who hit on both within a quarter. population: two groups of golfers. "
        "none: nothing could be compared.",
        ("same golfers", "population", "none"),
    )
    corrected = cols.flag("Corrected", "Whether drives' readings are put right by the difference before any fit.")
    note = cols.note("What was found of the device.", nullable=False)
