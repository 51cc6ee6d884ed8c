"""What a process of ours imports, by names: a library that one step needs isn't paid for by twenty."""

import gc
import subprocess
import sys
from pathlib import Path

import pytest
from steps import ROOT, imported_names, steps

from pipeline.lean import left_out, uncollected

# Each takes longer to import than most steps take to work.
HEAVY = (
    "matplotlib",
    "pandas",
    "patsy",
    "scipy.optimize",
    "scipy.stats",
    "seaborn",
    "snakemake",
    "sqlalchemy",
    "statsmodels",
)
DRAWING = {"draw_maps", "draw_figures", "write_diagnostics", "write_sensitivity"}

# Where one of the slowest is imported at all, while a step runs: each place has no other way to its figures.
SLOWEST = ("pandas", "patsy", "scipy.stats", "seaborn", "sqlalchemy", "statsmodels")
PLACES = {
    "coach/delivery/slopes.py": {"statsmodels"},
    "coach/straightness/figures.py": {"statsmodels"},
    "fit/formulas.py": {"patsy"},
    "fit/tabulated.py": {"scipy.stats"},
    "report/diagnostics/diagnostics_plots.py": {"seaborn"},
    "report/diagnostics/mixed.py": {"statsmodels"},
    "report/diagnostics/slopes.py": {"statsmodels"},
    "statistics/false_discovery.py": {"scipy.stats"},
}


def imported_with(modules, before="start_quickly()"):
    """Give the heavy libraries that a fresh process has after importing modules as a step does."""
    code = (
        "import importlib, sys; from pipeline.lean import left_out, start_quickly\n"
        f"{before}\n"
        f"with left_out():\n    [importlib.import_module(one) for one in {sorted(modules)}]\n"
        f"print(*[name for name in {HEAVY} if sys.modules.get(name)])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stdout.split())


def places_of(root):
    """Say which of the slowest libraries each module imports, at its head or in a function."""
    found = {}
    for path in sorted((root / "pipeline").rglob("*.py")):
        names = imported_names(path)
        slow = {one for one in SLOWEST if any(f"{name}.".startswith(f"{one}.") for name in names)}
        if slow:
            found[path.relative_to(root / "pipeline").as_posix()] = slow
    return found


def test_steps_that_draw_nothing_start_without_heavy_libraries():
    quick = {module for name, module in steps().items() if name not in DRAWING}
    assert len(quick) > 25
    assert imported_with(quick) == set()


def test_steps_that_draw_start_with_what_draws():
    assert imported_with({steps()[name] for name in DRAWING}) >= {"matplotlib", "seaborn"}


def test_figures_are_drawn_with_matplotlib_alone():
    assert imported_with({steps()["draw_maps"], steps()["draw_figures"]}) == {"matplotlib"}


def test_the_slowest_libraries_are_imported_where_nothing_else_will_do():
    assert places_of(ROOT) == PLACES


def test_a_new_import_of_a_slow_library_is_found(tmp_path):
    (tmp_path / "pipeline").mkdir()
    (tmp_path / "pipeline/new.py").write_text("def fit():\n    from scipy import stats\n    import pandas.io\n")
    assert places_of(tmp_path) == {"new.py": {"scipy.stats", "pandas"}}


def test_packages_are_left_out_in_a_block_alone(monkeypatch):
    monkeypatch.delitem(sys.modules, "colorsys", raising=False)
    with left_out(("colorsys",)), pytest.raises(ImportError):
        import colorsys
    import colorsys

    with left_out(("colorsys",)):
        assert sys.modules["colorsys"] is colorsys  # who has it, keeps it
    assert Path(colorsys.__file__).is_file()


@pytest.mark.parametrize("was_on", [True, False])
def test_garbage_is_looked_for_again_after_a_block_even_if_it_fails(was_on):
    def fail():
        with uncollected():
            assert not gc.isenabled()
            raise KeyError

    before = gc.isenabled()
    try:
        (gc.enable if was_on else gc.disable)()
        with pytest.raises(KeyError):
            fail()
        assert gc.isenabled() == was_on
    finally:
        (gc.enable if before else gc.disable)()
