"""Every table by the file that holds it, found in the modules of this folder: a new table needs no entry here."""

import importlib
import pkgutil
from functools import cache

import pipeline.tables
from pipeline.tables.columns import Table


@cache
def tables() -> tuple[type[Table], ...]:
    """Give every table, by module and in the order in which a module declares them."""
    names = sorted(module.name for module in pkgutil.iter_modules(pipeline.tables.__path__))
    modules = [importlib.import_module(f"{pipeline.tables.__name__}.{name}") for name in names]
    return tuple(
        value
        for module in modules
        for value in vars(module).values()
        if isinstance(value, type)
        and issubclass(value, Table)
        and value is not Table
        and value.__module__ == module.__name__
    )


def by_file() -> dict[str, type[Table]]:
    """Give the table that each file of the results holds, by its path under the results."""
    return {file: table for table in tables() for file in table.FILES}
