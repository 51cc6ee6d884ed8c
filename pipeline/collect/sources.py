"""The table of log files: what became of each, and what looks wrong with it (pure)."""

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from pipeline.collect.plausible import remarks_across
from pipeline.tables.logs import Sources


def sources_table(
    receipts: Sequence[Mapping[str, Any]], duplicates: Mapping[str, int], remarks: Mapping[str, Sequence[str]]
) -> pl.DataFrame:
    """Give the table of log files, by source.

    Parameters
    ----------
    receipts : sequence of mapping
        `Receipt.to_dict` of each log; accepted rows still include duplicates.
    duplicates : mapping of str to int
        Source: number of its rows that are duplicates; a source without any may be absent.
    remarks : mapping of str to sequence of str
        Source: what else is to say of it, clauses; a source without any may be absent.

    Returns
    -------
    pl.DataFrame
        Schema Sources.
    """
    schema = Sources.create_empty().schema
    rows = []
    for receipt in receipts:
        source = receipt["source"]
        again = duplicates.get(source, 0)
        counts = {"accepted": receipt["accepted"] - again, "duplicates": again}
        notes = [*receipt["notes"], *remarks.get(source, [])]
        # Devices are compared when all drives are there: `compare_devices`.
        own = {name: receipt.get(name) for name in schema if name != "duplicates"}
        rows.append(own | counts | {"reason": receipt["reason"] or "; ".join(notes) or None})
    return Sources.validate(pl.DataFrame(rows, schema=dict(schema)).sort("source"))


def remarks_on_shots(
    receipts: Sequence[Mapping[str, Any]],
    duplicates: Mapping[str, int],
    earlier: Mapping[str, str],
    alike: Mapping[str, list[str]],
) -> dict[str, list[str]]:
    """Say which shot logs look odd among the others, and which hold nothing new.

    Parameters
    ----------
    receipts, duplicates
        As for `sources_table`.
    earlier : mapping of str to str
        Source with duplicates: the earlier source that holds most of them.
    alike : mapping of str to list of str
        From `look_alikes`.

    Returns
    -------
    dict of str to list of str
        Source: clauses.
    """
    across = remarks_across({receipt["source"]: receipt["carry_over_flight"] for receipt in receipts})
    found: dict[str, list[str]] = {}
    for receipt in receipts:
        source, again = receipt["source"], duplicates.get(receipt["source"], 0)
        found[source] = [across[source]] if source in across and not receipt["notes"] else []
        if again and again == receipt["accepted"]:
            found[source].append(
                f"all its {again} drives were read before, most of them in {earlier[source]}; leave one of the two out"
            )
        found[source] += alike.get(source, [])
    return found


def remarks_on_swings(receipts: Sequence[Mapping[str, Any]], duplicates: Mapping[str, int]) -> dict[str, list[str]]:
    """Say which speed logs hold nothing new; parameters and result as for `remarks_on_shots`."""
    accepted = {receipt["source"]: receipt["accepted"] for receipt in receipts}
    return {
        source: [f"all its {again} swings were read before; leave the log out"]
        for source, again in duplicates.items()
        if again == accepted[source]
    }


def what_became(sources: pl.DataFrame) -> list[str]:
    """Say what became of all logs in one line, then what there is to say of single ones, a line each."""
    totals = sources.select(pl.col("rows", "accepted", "rejected", "duplicates", "left_out").sum()).row(0, named=True)
    refused = sources.filter(pl.col("status") == "refused")
    odd = sources.filter(pl.col("status") == "used", pl.col("reason").is_not_null())
    left_out = f" {totals['left_out']} more were left out by layouts." if totals["left_out"] else ""
    return [
        f"{sources.height - refused.height} of {sources.height} logs used: {totals['rows']} rows, "
        f"{totals['accepted']} accepted, {totals['rejected']} rejected, {totals['duplicates']} duplicates.{left_out}",
        *(f"{source}: refused, {reason}." for source, reason in refused.select("source", "reason").iter_rows()),
        *(f"{source}: look again, {reason}." for source, reason in odd.select("source", "reason").iter_rows()),
    ]
