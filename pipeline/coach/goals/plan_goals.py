"""Step: plan a goal for every golfer, and say whether speed or delivery comes first.

In: drives.parquet, golfers.csv (Golfers), changes.csv (Changes), frontier.json, model.json, replicates.npz, tables.npz.
Out: goals.csv (Goals) and priorities.csv (Priorities), one row per golfer assessed in the newest quarter; pace.json
(Pace); reaching.npz (where golfers' drives come down, see `reaching_arrays`) and usual_reaching.json (UsualReaching).
"""

from pathlib import Path
from typing import Any

from pipeline.bands import SpeedBands
from pipeline.benchmark.frontier import Frontier
from pipeline.benchmark.run_and_conditions import Roller
from pipeline.coach.goals.goal_table import goal_table, newest_assessed
from pipeline.coach.goals.needed_speed import DistanceCurve, Present
from pipeline.coach.goals.pace import Pace
from pipeline.coach.goals.priority import priorities, speed_variance, usual_gain, yards_per_mph
from pipeline.coach.reaching.reaching_drives import carry_and_total, reaching_arrays
from pipeline.configuration.study import BandGoals
from pipeline.drives import FIT_COLUMNS, KEYS, MOST_KEPT
from pipeline.edge.artefacts import read_arrays, read_artefact, write_arrays, write_artefact
from pipeline.edge.drives_file import open_drives
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.fit.model import FittedModel
from pipeline.flight.standard import StudyTables
from pipeline.golfers.lasting import lasting_share_of
from pipeline.physics.turf import FIRMNESS
from pipeline.statistics.drive_spread import UsualReaching
from pipeline.tables.goals import Goals, Priorities
from pipeline.tables.golfers import Changes, Golfers


def run(
    drives: str,
    golfers: str,
    changes: str,
    frontier: str,
    model: str,
    replicates: str,
    tables: str,
    goals: str,
    priorities_csv: str,
    pace: str,
    reaching: str,
    usual_reaching: str,
    bands: dict[str, Any],
    wanted: dict[str, Any],
    turf: str,
) -> None:
    """Run the step; see the module's docstring."""
    carry_model = read_artefact(model, FittedModel).model
    curve = DistanceCurve.of_carry(read_artefact(frontier, Frontier))
    refits = read_arrays(replicates)["coefficients"]
    every = open_drives(Path(drives), (*FIT_COLUMNS, "struck_on")).kept(MOST_KEPT)
    flown = StudyTables.from_arrays(read_arrays(tables)).standard
    table = read_table(golfers, Golfers, every.golfers)
    carry, total = carry_and_total(every, carry_model, Roller(flown, FIRMNESS[turf]), lasting_share_of(table))
    variance = speed_variance(every)
    assessed = newest_assessed(table).join(variance, on=KEYS, how="left", maintain_order="left")
    gain = usual_gain(read_table(changes, Changes, every.golfers), variance)
    asked = (SpeedBands.of(bands["centres"], bands["half_width_mph"]), BandGoals.model_validate(wanted).carry_yd)
    planned = goal_table(carry_model, refits, curve, assessed, *asked, gain, carry)
    per_mph = yards_per_mph(carry_model, Present.of(assessed, curve.frontier, carry_model))
    first = Priorities.validate(priorities(assessed, per_mph, gain))
    write_csv(Path(goals), Goals.validate(planned))
    write_csv(Path(priorities_csv), first)
    write_artefact(pace, Pace(gain))
    write_arrays(reaching, reaching_arrays(carry, total))
    write_artefact(usual_reaching, UsualReaching(carry.usual, total.usual))
    named = first.group_by("first").len().sort("first").rows()
    print(f"Planned {planned.height} goals; first: {', '.join(f'{word} {count}' for word, count in named)}.")
