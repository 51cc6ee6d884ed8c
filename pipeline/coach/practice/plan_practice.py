"""Step: say what the next weeks of speed practice may bring, and when the speed of each golfer's goal is due.

In: practice.csv (Practice), outlook.npz (Outlook), goals.csv (Goals). Out: plan.csv (PracticePlan, one row per golfer
and weeks ahead) and speed_goals.csv (SpeedGoals, one row per golfer who practices).
"""

from pathlib import Path

from pipeline.coach.practice.outlook import Outlook
from pipeline.coach.practice.planner import plan_of, speed_goals_of
from pipeline.edge.artefacts import read_arrays
from pipeline.edge.files import write_csv
from pipeline.edge.tables_file import read_table
from pipeline.tables.goals import Goals
from pipeline.tables.practice import Practice


def run(practice: str, outlook: str, goals: str, plan: str, speed_goals: str) -> None:
    """Run the step; see the module's docstring."""
    practiced = read_table(practice, Practice)
    ahead = Outlook(**read_arrays(outlook))
    planned = plan_of(practiced, ahead)
    due = speed_goals_of(practiced, ahead, read_table(goals, Goals))
    write_csv(Path(plan), planned)
    write_csv(Path(speed_goals), due)
    words = ", ".join(f"{word} {count}" for word, count in due.group_by("due").len().sort("due").rows())
    print(f"Planned the practice of {due.height} golfers; speed of the goal: {words or 'nobody practices'}.")
