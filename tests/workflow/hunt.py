"""The hunt for names: every encoding, every file, packed or not."""

import gzip
import io
import unicodedata
import zipfile

import duckdb
import polars as pl

ENCODINGS = ("utf-8", "utf-16-le", "utf-16-be", "latin-1", "cp850")
LEAST_LETTERS = 6  # shorter words turn up by chance: in compressed files, and in the names of fonts in a workbook


def needles(names):
    """Give the words of all names, in every encoding and case that they could be written in."""
    words = {word for name in names for word in name.split() if len(word) >= LEAST_LETTERS}
    forms = {form for word in words for form in (word, word.upper(), word.lower(), word.casefold())}
    forms |= {unicodedata.normalize("NFD", form) for form in forms}
    return {
        form.encode(encoding, "ignore") for form in forms for encoding in ENCODINGS if form.encode(encoding, "ignore")
    }


def contents(path):
    """Give a file's bytes, and those of what it holds packed: zip members, gzip, parquet and DuckDB's texts."""
    raw = path.read_bytes()
    yield path, raw
    if raw[:2] == b"PK":
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            yield from ((f"{path}:{name}", archive.read(name)) for name in archive.namelist())
    if raw[:2] == b"\x1f\x8b":
        yield f"{path}:gzip", gzip.decompress(raw)
    if raw[:4] == b"PAR1":
        yield f"{path}:rows", pl.read_parquet(path, glob=False).write_csv().encode()
    if path.suffix == ".duckdb":
        with duckdb.connect(str(path), read_only=True) as connection:
            for (table,) in connection.sql("SELECT table_name FROM duckdb_tables()").fetchall():
                yield f"{path}:{table}", connection.sql(f'FROM "{table}"').pl().write_csv().encode()


def hits(paths, names):
    """List the files, or members of files, that hold a word of any name."""
    wanted = needles(names)
    return [str(where) for path in paths for where, content in contents(path) if any(n in content for n in wanted)]
