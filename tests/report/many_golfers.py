"""A page of many golfers, made from a run's page: its golfers' rows and stories again and again, under new codes."""

import hashlib
import json
import re
from itertools import cycle, islice

from whole_pages import page_of

TAG = re.compile(r'<script type="application/json" id="(data|stories)-(\w+)">(.*?)</script>', re.S)
OF_THE_PAGE = ("texts", "settings")  # added by `build_page`


def payload_of_page(text):
    """Read a page's payload back from its script tags."""
    payload, stories = {}, {}
    for kind, name, part in TAG.findall(text):
        if kind == "stories":
            stories |= json.loads(part)
        elif name not in OF_THE_PAGE:
            payload[name] = json.loads(part)
    return payload | {"stories": stories}


def with_golfers(payload, count):
    """Give a payload of as many golfers: those it has come first, under their own codes."""
    columns, rows = payload["golfers"]["columns"], payload["golfers"]["rows"]
    code, short = columns.index("golfer"), columns.index("short")
    many, stories = [], {}
    for place, row in enumerate(islice(cycle(rows), count)):
        new = list(row)
        if place >= len(rows):
            new[code] = f"g{hashlib.sha256(str(place).encode()).hexdigest()[:16]}"
            new[short] = new[code][:9]
        many.append(new)
        if row[code] in payload["stories"]:
            stories[new[code]] = payload["stories"][row[code]]
    return payload | {"golfers": {"columns": columns, "rows": many}, "stories": stories}


def many_golfers_page(text, count):
    """Build a page of many golfers from the text of a page."""
    return page_of(with_golfers(payload_of_page(text), count))
