"""From swings without a ball to sessions: misreads marked, best and typical speed of a day, rise within sets.

A session is a golfer's day. Its best speed is the 90th percentile of its swings, by the median-unbiased rule (Hyndman
and Fan's eighth). The mean of the three fastest would be nearer to what people call best, but it grows with the number
of swings: from 10 to 30 of one normal distribution by 0.6 standard deviations, this percentile by less than 0.05; so a
golfer who merely swings more would seem to gain. One misread that got through moves it little.
"""

import polars as pl

from pipeline.tables.practice import Sessions

BEST_SHARE = 0.9
MIN_SWINGS = 5  # of one tool in a session, to tell its best: a set is five or six swings (common practice, no source)
MIN_SET = 4  # swings of a set whose rise is told: two first and two others last

# A reading is a misread beyond this many robust standard deviations from what the golfer swings at that place of a set.
MISREAD_SD = 5.0
LEAST_SD = 0.01  # of the logarithm: readings in whole mph differ that much by rounding
OWN_FROM_SWINGS = 30  # with fewer, the course of a set is taken from all golfers
POOLED_SWINGS = 20  # how many swings the pooled spread counts for beside a golfer's own
MAD_TO_SD = 1.4826  # of a normal distribution


def mark_misreads(swings: pl.DataFrame) -> pl.DataFrame:
    """Mark readings that lie too far from the golfer's own swings to be one like them.

    Speeds are held against the median of the golfer's day with that tool, less what the golfer usually is above or
    below it in the first, middle and last third of a set, so that sets of rising effort are no spread. The scale is the
    median absolute deviation of the golfer's swings with the tool, drawn towards that of all golfers where swings are
    few.

    Parameters
    ----------
    swings : DataFrame
        Schema Swings.

    Returns
    -------
    DataFrame
        With `misread` (Boolean) added, in the same order.

    Notes
    -----
    A day that is misread as a whole doesn't show here, nor does one with more misreads than swings.

    References
    ----------
    Leys and others, J. Exp. Soc. Psychol. 49 (2013) 764, doi 10.1016/j.jesp.2013.03.013, on the median absolute
    deviation in place of the standard deviation.
    """
    day, own = ["golfer", "swung_on", "tool"], ["golfer", "tool"]
    speed = pl.col("club_speed_mph").log()
    place, length = pl.col("swing_no"), pl.len().over(*day, "set_no")
    frame = swings.with_columns(
        above=speed - speed.median().over(day), third=((place - 1) * 3 // length).clip(0, 2).fill_null(-1)
    )
    above = pl.col("above")
    usual = (
        pl.when(pl.len().over(own) >= OWN_FROM_SWINGS)
        .then(above.median().over(*own, "third"))
        .otherwise(above.median().over("tool", "third"))
    )
    frame = frame.with_columns(off=(above - usual).abs())
    mine, pooled = (MAD_TO_SD * pl.col("off").median().over(by) for by in (own, ["tool"]))
    count = pl.len().over(own)
    variance = (count * mine**2 + POOLED_SWINGS * pooled**2) / (count + POOLED_SWINGS)
    limit = MISREAD_SD * variance.sqrt().clip(lower_bound=LEAST_SD)
    return frame.with_columns(misread=pl.col("off") > limit).select(*swings.columns, "misread")


def day_speeds(marked: pl.DataFrame) -> pl.DataFrame:
    """Sum up each golfer's day with each tool, in the tool's own speed.

    Parameters
    ----------
    marked : DataFrame
        From `mark_misreads`.

    Returns
    -------
    DataFrame
        One row per golfer, day and tool, sorted: quarter, swings, misreads, sound (swings that count), best_mph and
        typical_mph (null below `MIN_SWINGS`), rise_mph and sets (of `MIN_SET` swings or more; null and 0 without),
        rising_sets (of these, with every swing faster than the one before).
    """
    keys = ["golfer", "swung_on", "tool"]
    sound = marked.filter(~pl.col("misread"))
    speed = pl.col("club_speed_mph")
    enough = pl.len() >= MIN_SWINGS
    figures = sound.group_by(keys).agg(
        sound=pl.len().cast(pl.Int64),
        best_mph=pl.when(enough).then(_best(speed)),
        typical_mph=pl.when(enough).then(speed.median()),
    )
    counts = marked.group_by(keys).agg(
        pl.col("quarter").first(), swings=pl.len().cast(pl.Int64), misreads=pl.col("misread").sum().cast(pl.Int64)
    )
    ordered = sound.filter(pl.col("swing_no").is_not_null()).sort(*keys, "set_no", "swing_no")
    sets = ordered.group_by(*keys, "set_no", maintain_order=True).agg(
        size=pl.len(), rise_mph=speed.tail(2).mean() - speed.head(2).mean(), rising=(speed.diff() > 0).all()
    )
    rises = (
        sets.filter(pl.col("size") >= MIN_SET)
        .group_by(keys)
        .agg(
            pl.col("rise_mph").mean(),
            sets=pl.len().cast(pl.Int64),
            rising_sets=pl.col("rising").sum().cast(pl.Int64),
        )
    )
    joined = counts.join(figures, on=keys, how="left").join(rises, on=keys, how="left")
    return joined.with_columns(pl.col("sound", "sets", "rising_sets").fill_null(0)).sort(keys)


def _best(speed: pl.Expr) -> pl.Expr:
    """Give the 90th percentile by Hyndman and Fan's eighth rule, Am. Stat. 50 (1996) 361, doi 10.2307/2684934."""
    ordered, last = speed.sort(), pl.len() - 1
    place = (pl.len() + 1 / 3) * BEST_SHARE + 1 / 3 - 1
    below = place.floor().cast(pl.Int64).clip(0, last)
    above = (below + 1).clip(0, last)
    share = (place - place.floor()).clip(0, 1)
    return ordered.gather(below).first() * (1 - share) + ordered.gather(above).first() * share


def sessions_of(speeds: pl.DataFrame, factors: pl.DataFrame) -> pl.DataFrame:
    """Bring each golfer's days to driver speed.

    A day's speeds are those of the driver where it was swung often enough, else those of the light tool over the
    golfer's factor; the rise is the mean over the sets of both.

    Parameters
    ----------
    speeds : DataFrame
        From `day_speeds`.
    factors : DataFrame
        golfer and light_factor, of every golfer.

    Returns
    -------
    DataFrame
        Schema Sessions, sorted by golfer and day.
    """
    keys = ["golfer", "swung_on"]
    factor = pl.when(pl.col("tool") == "light").then("light_factor").otherwise(1.0)
    scaled = speeds.join(factors.select("golfer", "light_factor"), on="golfer", validate="m:1").with_columns(
        pl.col(name) / factor for name in ("best_mph", "typical_mph", "rise_mph")
    )
    weight = pl.col("sets").filter(pl.col("rise_mph").is_not_null())
    days = scaled.group_by(keys).agg(
        pl.col("quarter").first(),
        pl.col("swings", "misreads", "sets", "rising_sets").sum(),
        set_rise_mph=pl.when(weight.sum() > 0).then((pl.col("rise_mph") * pl.col("sets")).sum() / weight.sum()),
    )
    told = scaled.filter(pl.col("best_mph").is_not_null()).sort(
        *keys, "tool"
    )  # the driver stands before the light tool
    first = told.unique(keys, keep="first", maintain_order=True).select(*keys, "tool", "best_mph", "typical_mph")
    return Sessions.validate(days.join(first, on=keys, how="left").sort(keys).select(Sessions.column_names()))
