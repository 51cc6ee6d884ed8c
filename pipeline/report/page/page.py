"""The academy's page: one HTML text with everything in it, made from frames and the bytes of the figures."""

import base64
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import dataframely as dy
import polars as pl
from matplotlib.colors import to_hex

from pipeline.coach.practice.light_tool import LightTool
from pipeline.coach.practice.practice import SPEED_PRACTICE_CAUTIONS
from pipeline.errors import UserError
from pipeline.fit.verdict import ModelInUse
from pipeline.report.display import ShownTable, tables_markup
from pipeline.report.figures.look import band_colours
from pipeline.report.figures.naming import CARRY, LINKS, LOSSES, delivery_name, figure_names
from pipeline.report.page.academy_words import band_sentences
from pipeline.report.page.coach_part import (
    FIRST_WORDS,
    REACH_WORDS,
    SOURCE_WORDS,
    coach_facts,
    show_groups,
    show_verdicts,
)
from pipeline.report.page.movement import count_movement, show_changes
from pipeline.report.sheet.back import ASSOCIATIONS
from pipeline.report.sheet.sheets import INDEX, sheet_name
from pipeline.report.shown_tables import (
    show_bands,
    show_calibrations,
    show_devices,
    show_flagged,
    show_rejects,
    show_scores,
    show_sources,
    show_totals,
)
from pipeline.report.templating import templates_of
from pipeline.tables.columns import heading_of
from pipeline.tables.devices import Devices
from pipeline.tables.figures import BandTable, Calibrations, Scores
from pipeline.tables.golfers import Changes, Golfers
from pipeline.tables.logs import Rejects, Sources
from pipeline.tables.progress import Cohorts
from pipeline.tables.table_set import TableSet

MOST_LISTED = 500  # golfers in one table of the page


@dataclass(frozen=True)
class Section:
    """A table with a heading of its own on the page; `empty` is said where it has no row."""

    name: str
    heading: str
    caption: str
    show: Callable[[TableSet], ShownTable]
    empty: str


# What stands under "Quality of the data", after the logs.
QUALITY = (
    Section(
        "devices",
        "Devices",
        "Readings of each device against those of the reference device",
        lambda tables: show_devices(tables[Devices]),
        "One device measured all drives, so there is none to compare it with.",
    ),
    Section(
        "rejects",
        "Rejected rows",
        "Rejected rows by what was wrong",
        lambda tables: show_rejects(tables[Rejects]),
        "No row was rejected.",
    ),
)


def build_page(
    *,
    tables: TableSet,
    images: Mapping[str, bytes],
    card: str,
    model: ModelInUse,
    light_tool: LightTool | None,
    settings: dict[str, Any],
) -> str:
    """Build the academy's page.

    Parameters
    ----------
    tables : TableSet
        The study's tables; one without speed logs has no `Practice`.
    images : mapping of str to bytes
        PNG of each figure by name, see `pipeline.report.figures.naming.figure_names`.
    card : str
        Text of the model card; shown as it is.
    model : ModelInUse
    light_tool : LightTool or None
        What a light tool's speeds count as; None without speed logs.
    settings : dict
        Keys `study`, `flags`, `bands`, `privacy`, `window_tolerance_yd`, `flight` and `report`.

    Returns
    -------
    str
        A whole HTML document that needs no other file and no network.

    Raises
    ------
    UserError
        If there is no quarter to report, or not just one coefficient set of flight was kept.
    """
    golfers, bands, changes = tables[Golfers], tables[BandTable], tables[Changes]
    quarter = newest_quarter(golfers, bands)
    environment = templates_of("page")
    min_golfers = settings["privacy"]["min_golfers"]
    changed = show_changes(changes, quarter)
    here = bands.filter(pl.col("quarter") == quarter).sort("band_mph")
    return environment.get_template("academy.html.j2").render(
        settings=settings,
        quarter=quarter,
        links=LINKS | {"sheets": f"{LINKS['sheets']}/{INDEX}"},
        counts=count_golfers(golfers, quarter),
        causes=count_causes(golfers, quarter),
        unassessed=count_unassessed(golfers, quarter, settings["flags"]["min_shots"]),
        moved=count_movement(changes, golfers, quarter),
        sentences=band_sentences(
            here.to_dicts(), half_width_mph=settings["bands"]["half_width_mph"], min_golfers=min_golfers
        ),
        suppressed=bands.filter("suppressed").sort("quarter", "band_mph", descending=[True, False]).to_dicts(),
        logs=count_rows(tables[Sources]),
        chosen=_chosen(tables[Scores]),
        flight=kept_set(tables[Calibrations]),
        model=model,
        coach=coach_facts(tables, light_tool, quarter),
        words={"first": FIRST_WORDS, "reach": REACH_WORDS, "source": SOURCE_WORDS, "associations": ASSOCIATIONS},
        cautions=SPEED_PRACTICE_CAUTIONS,
        quality=QUALITY,
        tables=tables_markup(
            {
                **_band_tables(bands, quarter, min_golfers, settings["bands"]["centres"]),
                **_golfer_tables(golfers, changed, quarter, settings["report"]["most_sheets"]),
                "verdicts": show_verdicts(tables[Cohorts], quarter),
                "groups": show_groups(tables[Cohorts], quarter),
                "flight": show_calibrations(tables[Calibrations]),
                "scores": show_scores(tables[Scores]),
                "sources": show_sources(tables[Sources]),
                **{one.name: one.show(tables) for one in QUALITY},
            }
        ),
        figures=_figures(images, settings),
        card=card,
        most_listed=MOST_LISTED,
        changed=changed.table.height,
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


def count_golfers(golfers: dy.DataFrame[Golfers], quarter: str) -> dict[str, float]:
    """Count a quarter's golfers and what the flagged ones lose.

    Returns
    -------
    dict
        `all`, `drives`, `assessed`, `flagged` and `not_assessed`; `lost_yd`, what the flagged lose on a mean drive,
        added up, and `recoverable_yd`, the same with luck taken out.
    """
    here = golfers.filter(pl.col("quarter") == quarter)
    status, flagged = here["status"].cast(pl.String), here.filter("flagged")
    unassessed = int((status == "not_assessed").sum())
    # Where too few golfers are there to tell luck, the plain figure stands in.
    lucky = flagged.select(pl.coalesce("ranked_lost_yd", "lost_yd").sum()).item()
    return {
        "all": status.len(),
        "drives": int(here["shots"].sum()),
        "assessed": status.len() - unassessed,
        "flagged": flagged.height,
        "not_assessed": unassessed,
        "lost_yd": float(flagged["lost_yd"].sum()),
        "recoverable_yd": float(lucky),
    }


def count_unassessed(golfers: dy.DataFrame[Golfers], quarter: str, min_shots: int) -> list[tuple[str, int]]:
    """Count a quarter's golfers who were not assessed by the reason, the commonest first."""
    left_out = golfers.filter((pl.col("quarter") == quarter) & (pl.col("status") == "not_assessed"))
    few = pl.when(pl.col("shots") < min_shots).then(pl.lit(f"fewer than {min_shots} drives"))
    reason = few.otherwise(pl.col("note").fill_null("no reason is given")).alias("reason")
    counted = left_out.group_by(reason).len("golfers").sort("golfers", "reason", descending=[True, False])
    return list(counted.iter_rows())


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


def _golfer_tables(
    golfers: dy.DataFrame[Golfers], changed: ShownTable, quarter: str, most_sheets: int
) -> dict[str, ShownTable]:
    """Lay out the flagged, linked to their sheets if all of them have one, and the movement (from `show_changes`)."""
    flagged, name = show_flagged(golfers, quarter), heading_of(Golfers, "golfer")
    linked = set(flagged.table[name] if flagged.table.height <= most_sheets else [])

    def link(golfer: str) -> str:
        return f'<a href="{LINKS["sheets"]}/{sheet_name(golfer, quarter)}">{golfer}</a>' if golfer in linked else golfer

    shown = {"flagged": flagged, "changes": changed}
    return {key: replace(one, table=one.table.head(MOST_LISTED), cells={name: link}) for key, one in shown.items()}


def _band_tables(
    bands: dy.DataFrame[BandTable], quarter: str, min_golfers: int, centres_mph: list[float]
) -> dict[str, ShownTable]:
    """Lay out carry and total of the newest quarter, as `bands` and `totals`, and of those before it."""
    colours = {f"{centre:g}": to_hex(colour) for centre, colour in band_colours(centres_mph).items()}

    def mark(centre: str) -> str:
        colour = colours.get(centre)
        return f'<span class="mark" style="background:{colour}"></span>{centre}' if colour else centre

    when, cells = heading_of(BandTable, "quarter"), {heading_of(BandTable, "band_mph"): mark}
    is_new = pl.col(when) == quarter
    laid: dict[str, ShownTable] = {}
    for new, earlier, lay in (("bands", "earlier", show_bands), ("totals", "earlier_totals", show_totals)):
        shown = replace(lay(bands, min_golfers=min_golfers), cells=cells)
        laid[new] = replace(shown, table=shown.table.filter(is_new)).without(when)
        laid[earlier] = replace(shown, table=shown.table.filter(~is_new))
    return laid


def _figures(images: Mapping[str, bytes], settings: dict[str, Any]) -> dict[str, list[dict[str, str]]]:
    """Lay out the figures with their texts, as `carry`, `delivery` and `losses`."""
    tolerance = settings["window_tolerance_yd"]
    texts = {
        CARRY: "Mean carry of each golfer against club speed, the bands' percentiles and the efficient curve.",
        LOSSES: "Parts of the yards lost of each flagged golfer, the worst first. The dot is the yards lost in all, "
        "the line its 90 % interval.",
    }
    texts |= {
        delivery_name(centre): f"Expected carry over launch and spin at {centre:g} mph, wherever the coach's lookup "
        "answers; blank: too few drives lie there. Dashed: what golfers of that speed reach; the cross is the best of "
        f"it. The frame is the window: drives inside it are expected within {tolerance:g} yd of the efficient carry."
        for centre in settings["bands"]["centres"]
    }
    laid = [
        {"name": name, "text": texts[name], "data": base64.b64encode(images[name]).decode("ascii")}
        for name in figure_names(settings["bands"]["centres"])
    ]
    return {"carry": laid[:1], "delivery": laid[1:-1], "losses": laid[-1:]}
