"""Yardband: speed-band benchmarks of driver carry, and who is losing yards.

Data flows one way, through the folders in this order: collect, flight, fit, benchmark, golfers, coach, research,
report, serve.

For sessions of one's own (docs/research/library.md):

- `open_study` opens the results of a study;
- `carry_in_air` flies drives through any air;
- `UserError` is raised, with one sentence, where something given can't be used.
"""

__all__ = ["Study", "StudyModel", "UserError", "carry_in_air", "open_study"]

TYPE_CHECKING = False  # as type checkers know it: to import `typing` takes half of what a handed over step does

if TYPE_CHECKING:
    from pipeline.errors import UserError
    from pipeline.research.library.flight import carry_in_air
    from pipeline.research.library.model import StudyModel
    from pipeline.research.library.study import Study, open_study
else:
    # Each is loaded when it is first asked for: the workflow's steps import this package and need none of them.
    _MODULES = {
        "UserError": "pipeline.errors",
        "carry_in_air": "pipeline.research.library.flight",
        "StudyModel": "pipeline.research.library.model",
        "Study": "pipeline.research.library.study",
        "open_study": "pipeline.research.library.study",
    }

    def __getattr__(name):
        from importlib import import_module

        if name not in _MODULES:
            raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
        return getattr(import_module(_MODULES[name]), name)

    def __dir__():
        return sorted({*globals(), *__all__})
