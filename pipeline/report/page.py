"""The academy's page: one HTML text with everything in it, made from frames and the bytes of the figures."""

import base64
from collections.abc import Mapping
from typing import Any

import dataframely as dy
import polars as pl
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from pipeline.errors import UserError
from pipeline.report.display import (
    html_table,
    show_bands,
    show_calibrations,
    show_flagged,
    show_rejects,
    show_scores,
    show_sources,
    show_totals,
)
from pipeline.report.naming import CARRY, LOSSES, delivery_name, figure_names
from pipeline.tables import BandTable, Calibrations, Golfers, Rejects, Scores, Sources


def build_page(
    *,
    golfers: dy.DataFrame[Golfers],
    bands: dy.DataFrame[BandTable],
    scores: dy.DataFrame[Scores],
    sources: dy.DataFrame[Sources],
    rejects: dy.DataFrame[Rejects],
    calibrations: dy.DataFrame[Calibrations],
    images: Mapping[str, bytes],
    card: str,
    settings: dict[str, Any],
) -> str:
    """Build the academy's page.

    Parameters
    ----------
    golfers, bands, scores, sources, rejects, calibrations : DataFrame
        The study's tables.
    images : mapping of str to bytes
        PNG of each figure by name, see `pipeline.report.naming.figure_names`.
    card : str
        Text of the model card; shown as it is.
    settings : dict
        Keys `study`, `flags`, `bands`, `privacy`, `window_tolerance_yd` and `flight`.

    Returns
    -------
    str
        A whole HTML document that needs no other file and no network.

    Raises
    ------
    UserError
        If there is no quarter to report, or not just one coefficient set of flight was kept.
    """
    quarter = newest_quarter(golfers, bands)
    environment = Environment(
        loader=PackageLoader("pipeline.report"), autoescape=True, undefined=StrictUndefined, trim_blocks=True
    )
    return environment.get_template("academy.html.j2").render(
        settings=settings,
        quarter=quarter,
        counts=count_golfers(golfers, quarter),
        causes=count_causes(golfers, quarter),
        logs=count_rows(sources),
        chosen=_chosen(scores),
        flight=kept_set(calibrations),
        tables=_tables(
            {
                **_band_tables(bands, quarter, settings["privacy"]["min_golfers"]),
                "flagged": (show_flagged(golfers, quarter), ("Golfer", "Main cause", "Note")),
                "flight": (show_calibrations(calibrations), ("Coefficient set", "Kept", "Note")),
                "scores": (show_scores(scores), ("Model", "Chosen", "Note")),
                "sources": (show_sources(sources), ("Log", "Status", "Why refused")),
                "rejects": (show_rejects(rejects), ("Rule", "Column")),
            }
        ),
        figures=_figures(images, settings),
        card=card,
    )


def newest_quarter(golfers: dy.DataFrame[Golfers], bands: dy.DataFrame[BandTable]) -> str:
    """Find the newest quarter of golfers and bands.

    Raises
    ------
    UserError
        If both tables are empty.
    """
    newest = pl.concat([golfers.select("quarter"), bands.select("quarter")])["quarter"].max()
    if not isinstance(newest, str):
        raise UserError(
            "golfers.csv and bands.csv: no drive was accepted, so there is nothing to report; see sources.csv."
        )
    return newest


def count_golfers(golfers: dy.DataFrame[Golfers], quarter: str) -> dict[str, int]:
    """Count a quarter's golfers: `all`, `assessed`, `flagged`, `not_assessed`."""
    status = golfers.filter(pl.col("quarter") == quarter)["status"].cast(pl.String)
    unassessed = int((status == "not_assessed").sum())
    return {
        "all": status.len(),
        "assessed": status.len() - unassessed,
        "flagged": int((status == "flagged").sum()),
        "not_assessed": unassessed,
    }


def count_causes(golfers: dy.DataFrame[Golfers], quarter: str) -> list[tuple[str, int]]:
    """Count a quarter's flagged golfers by main cause, the commonest first."""
    flagged = golfers.filter(pl.col("flagged") & (pl.col("quarter") == quarter))
    counted = flagged.group_by(pl.col("main_cause").cast(pl.String)).len("golfers")
    return [
        (cause, count) for cause, count in counted.sort("golfers", "main_cause", descending=[True, False]).iter_rows()
    ]


def count_rows(sources: dy.DataFrame[Sources]) -> dict[str, int]:
    """Count logs and rows: `logs`, `refused`, `rows`, `accepted`, `rejected`, `duplicates`."""
    sums = sources.select(pl.col("rows", "accepted", "rejected", "duplicates").sum()).row(0, named=True)
    return {"logs": sources.height, "refused": int((sources["status"] == "refused").sum()), **sums}


def _chosen(scores: dy.DataFrame[Scores]) -> dict[str, Any] | None:
    """Give the row of the chosen model, or None if none was chosen."""
    chosen = scores.filter("chosen")
    return chosen.row(0, named=True) if chosen.height else None


def kept_set(calibrations: dy.DataFrame[Calibrations]) -> dict[str, Any]:
    """Give the row of the coefficient set that flight uses.

    Raises
    ------
    UserError
        If not just one set is marked as kept.
    """
    kept = calibrations.filter("kept")
    if kept.height != 1:
        raise UserError(
            f"calibrations.csv: {kept.height} coefficient sets are marked as kept, not one; "
            "delete the file and run the workflow again."
        )
    return kept.row(0, named=True)


Shown = tuple[pl.DataFrame, tuple[str, ...]]  # a table of text columns, and those of them that are set to the left


def _band_tables(bands: dy.DataFrame[BandTable], quarter: str, min_golfers: int) -> dict[str, Shown]:
    """Lay out carry and total of the newest quarter, as `bands` and `totals`, and of those before it."""
    is_new = pl.col("Quarter") == quarter
    laid: dict[str, Shown] = {}
    for new, earlier, show in (("bands", "earlier", show_bands), ("totals", "earlier_totals", show_totals)):
        shown = show(bands, min_golfers=min_golfers)
        laid[new] = (shown.filter(is_new).drop("Quarter"), ("Note",))
        laid[earlier] = (shown.filter(~is_new), ("Quarter", "Note"))
    return laid


def _tables(made: dict[str, Shown]) -> dict[str, Markup]:
    # Markup is right here: html_table escapes every cell. An empty table becomes an empty text, which the page tests.
    made = {
        name: (table.drop([note for note in ("Note", "Why refused") if note in text and _is_blank(table[note])]), text)
        for name, (table, text) in made.items()
    }
    return {
        name: Markup(html_table(table, table_id=f"{name}-table", text=text)) if table.height else Markup("")
        for name, (table, text) in made.items()
    }


def _is_blank(column: pl.Series) -> bool:
    return bool((column == "").all())


def _figures(images: Mapping[str, bytes], settings: dict[str, Any]) -> dict[str, list[dict[str, str]]]:
    """Lay out the figures with their texts, as `carry`, `delivery` and `losses`."""
    tolerance = settings["window_tolerance_yd"]
    texts = {
        CARRY: "Mean carry of each golfer against club speed, the bands' percentiles and the efficient curve.",
        LOSSES: "Parts of the yards lost of each flagged golfer, the worst first. The dot is the yards lost in all.",
    }
    texts |= {
        delivery_name(centre): f"Expected carry over launch and spin at {centre:g} mph. The frame is the window: "
        f"drives inside it are expected within {tolerance:g} yd of the efficient carry. Blank: not enough drives there."
        for centre in settings["bands"]["centres"]
    }
    laid = [
        {"name": name, "text": texts[name], "data": base64.b64encode(images[name]).decode("ascii")}
        for name in figure_names(settings["bands"]["centres"])
    ]
    return {"carry": laid[:1], "delivery": laid[1:-1], "losses": laid[-1:]}
