"""Which logs are collected by one job: large logs one by one, small ones together (pure: touches no file).

A small log's place follows from its own path, so that one more log is collected with its neighbours and leaves all
other partitions as they are, until the small logs have doubled.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from pipeline.configuration.layouts import STANDARD_LAYOUT, Layout, LogFile
from pipeline.configuration.study import LogEntry

LARGE_BYTES = 8_000_000  # a log of this size is worth a job of its own
TOGETHER_BYTES = 16_000_000  # small logs of a partition, about
TOGETHER_LOGS = 128
MOST_TEXT = 100_000  # characters of a description; Linux takes 131,072 bytes as one argument of a command


def partitions(logs: Sequence[LogFile], sizes: Mapping[str, int]) -> dict[str, list[LogFile]]:
    """Share out the logs of a study over jobs.

    Parameters
    ----------
    logs : sequence of LogFile
    sizes : mapping of str to int
        Source: bytes of its file.

    Returns
    -------
    dict of str to list of LogFile
        Name of a partition, which is the source of a log that stands alone: its logs by source. A name given to
        several ends like no log's.
    """
    large = [log for log in logs if sizes[log.source] >= LARGE_BYTES]
    small = [log for log in logs if sizes[log.source] < LARGE_BYTES]
    total = sum(sizes[log.source] for log in small)
    count = 1
    while count * TOGETHER_BYTES < total or count * TOGETHER_LOGS < len(small):
        count *= 2
    shared = _shared(small, count)
    while any(len(json.dumps(describe(part))) > MOST_TEXT and len(part) > 1 for part in shared.values()):
        count *= 2
        shared = _shared(small, count)
    return {log.source: [log] for log in large} | shared


def _shared(small: Sequence[LogFile], count: int) -> dict[str, list[LogFile]]:
    found: defaultdict[int, list[LogFile]] = defaultdict(list)
    for log in small:
        found[int.from_bytes(hashlib.sha256(log.source.encode()).digest()[:8]) % count].append(log)
    names = {place: f"small/{place + 1}-of-{count}" for place in sorted(found)}
    return {names[place]: sorted(found[place], key=lambda log: log.source) for place in names}


def name_of(logs: Sequence[LogFile]) -> str:
    """Name a partition for people."""
    return logs[0].source if len(logs) == 1 else f"{len(logs)} small logs"


def describe(logs: Sequence[LogFile]) -> dict[str, Any]:
    """Put what a partition's logs are into values for JSON, each layout and entry once; `described` reads it."""
    layouts: list[dict[str, Any]] = []
    entries: dict[str, dict[str, Any]] = {}
    for log in logs:
        layout: int | None = None
        if log.layout != STANDARD_LAYOUT:
            values = log.layout.model_dump(mode="json", by_alias=True, exclude_unset=True)
            if values not in layouts:
                layouts.append(values)
            layout = layouts.index(values)
        entry = log.entry.model_dump(mode="json", by_alias=True, exclude_defaults=True)
        key = json.dumps([entry, layout, log.group], sort_keys=True)
        entries.setdefault(key, {"entry": entry, "layout": layout, "group": log.group, "sources": []})
        entries[key]["sources"].append(log.source)
    found: dict[str, Any] = {"layouts": layouts, "entries": list(entries.values())}
    regressors = logs[0].regressors if logs else ()  # the same for all logs of a study
    found |= {"regressors": list(regressors)} if regressors else {}
    return found | {"by_hand": True} if logs and logs[0].by_hand else found  # so are all of the study's


def described(partition: Mapping[str, Any]) -> list[LogFile]:
    """Give the logs that `describe` was given, by source."""
    regressors = tuple(partition.get("regressors", ()))
    layouts = [Layout.model_validate(layout, context={"regressors": regressors}) for layout in partition["layouts"]]
    logs = []
    for one in partition["entries"]:
        entry = LogEntry.model_validate(one["entry"])
        layout = STANDARD_LAYOUT if one["layout"] is None else layouts[one["layout"]]
        logs += [LogFile.of(name, entry, layout, one["group"], regressors) for name in one["sources"]]
    if partition.get("by_hand"):
        logs = [log.model_copy(update={"by_hand": True}) for log in logs]
    return sorted(logs, key=lambda log: log.source)
