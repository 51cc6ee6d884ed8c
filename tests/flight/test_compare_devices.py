"""The step that compares devices, and what it says of them."""

import json

import polars as pl
import pytest
from test_compare import academy, compared

from pipeline.edge.artefacts import read_artefact
from pipeline.edge.database import new_database
from pipeline.edge.tables_file import read_table
from pipeline.flight import compare_devices
from pipeline.flight.device_words import described, devices_table, golfer_note_of, note_of, with_devices
from pipeline.flight.devices import StudyDevices
from pipeline.tables.devices import Devices
from pipeline.tables.logs import LoadedShots, Sources
from pipeline.tables.types import types_of

DRIVES = 9


@pytest.fixture
def run(tmp_path):
    """Run the step on golfers whose drives are all as `academy` sums them up; give its outputs."""

    def made(summaries, reference=None):
        rows = pl.concat([summaries.with_columns(row=pl.lit(n)) for n in range(DRIVES)])
        rows = rows.rename({"carry_yd": "carry_measured_yd"}).with_columns(
            source=pl.format("{}.csv", pl.col("device").fill_null("none")), spin_measured=pl.lit(True)
        )
        given = {name: rows[name] if name in rows.columns else None for name in types_of(LoadedShots)}
        shots = pl.DataFrame(given, schema_overrides=types_of(LoadedShots))
        sources = pl.DataFrame(
            {"source": rows["source"].unique().sort(), "status": "used", "rows": 1, "accepted": 1}
        ).with_columns(rejected=0, duplicates=0, left_out=0, sha256=None, reason=None, device=None, device_note=None)
        sources = sources.cast(types_of(Sources)).with_columns(pl.col("status").cast(pl.String))
        database = tmp_path / "loaded.duckdb"
        database.unlink(missing_ok=True)
        with new_database(database) as connection:
            for name, table in (("shots", shots), ("sources", sources)):
                connection.register("made", table.to_arrow())
                connection.execute(f"CREATE TABLE {name} AS FROM made")
        paths = {"devices": "devices.json", "table": "devices.csv", "sources": "sources.csv"}
        files = {name: str(tmp_path / file) for name, file in paths.items()}
        air = {"temp_c": 15, "pressure_hpa": 1013.25, "humidity": 0}
        compare_devices.run(str(database), **files, reference_device=reference, air=air, seed=1)
        return (
            read_artefact(files["devices"], StudyDevices),
            read_table(files["table"], Devices),
            read_table(files["sources"], Sources),
        )

    return made


def test_a_device_that_reads_club_speed_low_is_told_and_corrected(run):
    devices, table, sources = run(academy(1, club=-0.03))

    assert devices.reference == "unit-A"
    assert list(devices.changes) == ["club_speed_mph"]
    factor, added = devices.changes["club_speed_mph"]["unit-B"]
    assert (factor, added) == (pytest.approx(1 / 0.97, abs=0.006), 0.0)
    [row] = table.filter(pl.col("corrected")).to_dicts()
    assert (row["device"], row["reading"], row["reference"]) == ("unit-B", "club_speed", "unit-A")
    assert row["lo90"] < -0.03 < row["hi90"]
    told = dict(sources.select("device", "device_note").iter_rows())
    assert told["unit-A"] == "unit-A is the reference device"
    assert told["unit-B"].startswith("unit-B reads club speed ")
    assert "% low (" in told["unit-B"]
    assert "corrected" in told["unit-B"]


def test_the_named_reference_is_taken_as_it_is(run):
    devices, table, _ = run(academy(1, club=-0.03), "unit-B")

    assert devices.reference == "unit-B"
    assert devices.changes["club_speed_mph"]["unit-A"][0] == pytest.approx(0.97, abs=0.006)
    assert set(table["device"]) == {"unit-A"}


def test_one_device_has_nothing_to_be_compared_with(run, capsys):
    devices, table, sources = run(academy(1).filter(device="unit-A"))

    assert (devices.reference, devices.devices, devices.changes) == ("unit-A", [], {})
    assert table.is_empty()
    assert sources.select("device", "device_note").rows() == [("unit-A", None)]
    assert capsys.readouterr().out == "One device: nothing to compare.\n"


def test_drives_of_no_device_are_a_device_of_their_own(run):
    summaries = academy(1, club=-0.03).with_columns(device=pl.when(pl.col("device") == "unit-A").then("device"))

    devices, _, sources = run(summaries)

    assert [one.device for one in devices.devices] == ["unit-A", "unstated"]
    assert list(devices.changes["club_speed_mph"]) == ["unstated"]
    assert sources.filter(source="none.csv").item(0, "device") is None


def test_a_study_without_drives_has_its_files(run):
    devices, table, sources = run(academy(1).clear())

    assert (devices.reference, devices.devices) == (None, [])
    assert table.is_empty()
    assert sources.is_empty()


def test_devices_json_is_plain_json(run, tmp_path):
    run(academy(1, golfers=(40, 3)))

    found = json.loads((tmp_path / "devices.json").read_text(encoding="utf-8"))
    assert [one["compared_by"] for one in found["devices"]] == ["reference", "none"]


# --- words


def test_notes_say_what_was_found_and_what_was_done():
    notes = {
        name: note_of(compared(summaries), "unit-A")
        for name, summaries in {
            "same": academy(1, both=12, club=-0.03),
            "like": academy(1),
            "worse": academy(1, poorer=0.03, spread=1.4),
            "few": academy(1, golfers=(40, 3)),
            "launch": academy(1, launch=3.0),
        }.items()
    }

    assert "12 golfers on both; corrected" in notes["same"]
    assert notes["like"].startswith("unit-B reads like unit-A as far as the better golfers' strikes show: speed ratio ")
    assert "they may strike worse, or a speed is misread (chance" in notes["worse"]
    assert "not corrected" in notes["worse"]
    assert notes["few"].startswith("unit-B could not be compared with unit-A: fewer than 5 golfers")
    assert "launch on unit-B is " in notes["launch"]
    assert "not corrected, check the device" in notes["launch"]


def test_golfers_are_told_of_large_corrections_and_of_doubt_alone():
    same = [golfer_note_of(compared(academy(1, both=12, club=club)), "unit-A") for club in (-0.03, 0.0, 0.007)]

    assert same[0].startswith("unit-B reads club speed 2.9 %")
    assert same[0].endswith("% low: corrected")
    assert same[1:] == [None, None]
    worse, few = academy(1, poorer=0.03, spread=1.4), academy(1, golfers=(40, 3))
    assert "may misread a speed" in golfer_note_of(compared(worse), "unit-A")
    assert "could not be compared" in golfer_note_of(compared(few), "unit-A")


def test_shares_stand_in_the_table_and_logs_in_devices_json():
    found = compared(academy(2, both=15, spin=0.08))

    table, entry = devices_table([found], "unit-A"), described(found, "unit-A")

    spin = table.filter(reading="spin").row(0, named=True)
    assert Devices.validate(table).height == 6
    assert 1 + spin["difference"] == pytest.approx(2.718281828 ** -entry.correction[3])
    assert spin["lo90"] < spin["difference"] < spin["hi90"]


def test_a_log_of_two_devices_names_both():
    sources = pl.DataFrame([dict.fromkeys(types_of(Sources)) | {"source": "a.csv"}], schema=types_of(Sources))
    drives = pl.DataFrame({"source": ["a.csv"] * 3, "device": ["unit-B", None, "unit-A"], "drives": [1, 2, 3]})

    told = with_devices(sources, drives, {"unit-A": "one", "unit-B": "two", "unstated": "three"}).row(0, named=True)

    assert told["device"] == "unit-A, unit-B"
    assert told["device_note"] == "one; two; three"
