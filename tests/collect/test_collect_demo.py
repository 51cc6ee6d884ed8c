"""The demo study's logs, against what its script says it planted."""

import json
from pathlib import Path

import polars as pl

from pipeline.collect import collect_logs, load_shots
from pipeline.collect.collect_logs import collect
from pipeline.collect.partitions import describe
from pipeline.configuration.load import load_study
from pipeline.configuration.log_files import find_logs

DEMO = Path(__file__).parents[2] / "data_demo"


def test_demo_gives_the_planted_rejects_and_duplicates(tmp_path):
    folder, study = load_study(DEMO)
    made = {name: str(tmp_path / name) for name in ("shots", "rejects", "receipts")}
    collect_logs.run(
        key=str(folder / study.privacy.key_file),
        study=study.study,
        folder=str(folder),
        partition=describe(find_logs(folder, study)),
        **made,
    )
    outputs = {name: str(tmp_path / name) for name in ("database", "rejects_csv", "sources_csv")}

    load_shots.run(**{name: [path] for name, path in made.items()}, **outputs)

    planted = json.loads((DEMO / "planted.json").read_text(encoding="utf-8"))
    expected = [
        (source, bad["row"], bad["rule"], bad["column"])
        for source in sorted(planted)
        for bad in planted[source]["rejected"]
    ]
    sources = pl.read_csv(outputs["sources_csv"])
    counts = sources.select("source", "rows", "accepted", "duplicates").rows()
    assert pl.read_csv(outputs["rejects_csv"]).rows() == expected
    assert counts == [
        (source, planted[source]["rows"], planted[source]["accepted"], len(planted[source]["duplicates"]))
        for source in sorted(planted)
    ]
    assert sources["duplicates"].sum() > 60
    assert sources["reason"].null_count() == sources.height  # nothing looks wrong with any of them


def test_demo_logs_with_a_mistaken_unit_of_carry_are_told():
    folder, study = load_study(DEMO)
    told = []
    for log_file in find_logs(folder, study):
        said = "yd" if log_file.layout.columns["carry_yd"].unit == "m" else "m"
        column = log_file.layout.columns["carry_yd"].model_copy(update={"unit": said})
        columns = {**log_file.layout.columns, "carry_yd": column}
        mistaken = log_file.model_copy(update={"layout": log_file.layout.model_copy(update={"columns": columns})})
        told += collect(folder / log_file.source, mistaken, bytes(32), lambda _: None).notes

    assert [text.split(":")[0] for text in told] == [
        *["carry_yd looks like yd called m"] * 3,
        *["carry_yd looks like m called yd"] * 3,
    ]
