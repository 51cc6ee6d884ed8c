"""On which commit the evidence of the longer studies was made, and how much of their code has changed since.

python docs/make/evidence_made.py               a line for each study
python docs/make/evidence_made.py note FOLDER   writes FOLDER/made.json, as the studies' rules do before they begin
"""

import json
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).parents[2]
# The code that each study speaks of, as git knows paths. The proving ground runs the steps, but writes no pages.
CODE = {
    "academy_page": ["pipeline/report/page", "pipeline/report/shared", "pipeline/texts"],
    "coach_page": ["pipeline/report/lookup", "pipeline/report/shared", "pipeline/texts"],
    "curving": ["pipeline", ":(exclude)pipeline/report"],
    "damaged": ["pipeline/collect", "pipeline/configuration", "pipeline/edge/small_files.py", "pipeline/ending.py"],
    "flight": ["pipeline/physics"],
    "parts": [
        "pipeline/coach/progress",
        "pipeline/golfers/day_form.py",
        "pipeline/edge/drives_file.py",
        "pipeline/drives.py",
    ],
    "proving_ground": ["pipeline", ":(exclude)pipeline/report"],
    "regressors": ["pipeline/fit", "pipeline/flight/regressors.py", "pipeline/statistics"],
    "side_by_side": ["pipeline", "Snakefile", "profiles/default"],
    "speed": ["pipeline", "Snakefile", "profiles/default"],
}


def git(root: Path, *arguments: str) -> str | None:
    """Give what git answers; nothing if it can't."""
    try:
        done = subprocess.run(["git", "-C", str(root), *arguments], capture_output=True, text=True, check=True)
    except (OSError, subprocess.CalledProcessError):
        return None
    return done.stdout


def note(folder: Path, root: Path = ROOT) -> None:
    """Write the commit that a study begins on, whether the code had changes of its own, and the day."""
    commit, changes = git(root, "rev-parse", "HEAD"), git(root, "status", "--porcelain", "--", "pipeline", "tests")
    made = {
        "commit": commit.strip() if commit else None,
        "date": f"{datetime.now(UTC):%Y-%m-%d}",
        "uncommitted_changes": bool(changes),
    }
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "made.json").write_text(json.dumps(made, indent=1) + "\n", encoding="utf-8")


def age(study: str, root: Path = ROOT) -> str:
    """Say on which commit a study's evidence was made, and how many files of its code have changed since."""
    place = f"docs/evidence/{study}"
    try:
        made = json.loads((root / place / "made.json").read_text(encoding="utf-8"))
        commit, date = made["commit"], made["date"]
    except (OSError, ValueError, KeyError):
        return f"{place}: no made.json says on which commit it was made."
    if commit is None:
        return f"{place}: made on {date} outside a clone, so its commit is unknown."
    also = ", with uncommitted changes" if made.get("uncommitted_changes") else ""
    begin = f"{place}: made on commit {commit[:10]} of {date}{also}"
    changed = git(root, "diff", "--name-only", commit, "--", *CODE[study])
    if changed is None:
        return f"{begin}. Git can't find that commit here, so what has changed since is unknown."
    count = len(changed.splitlines())
    if count == 0:
        return f"{begin}. None of the code that it speaks of has changed since."
    return f"{begin}. It is older than its code: {count} file{'s' * (count > 1)} changed since. Consider a new run."


if __name__ == "__main__":
    if sys.argv[1:2] == ["note"]:
        note(Path(sys.argv[2]))
    else:
        print("\n".join(age(study) for study in CODE))
