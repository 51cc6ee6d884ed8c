"""Pieces of drives as DuckDB hands them over, and how much of them is still held as they are read."""

import polars as pl
import pyarrow as pa


class Pieces:
    """Reads a frame in pieces that other memory holds; `most` is how much of that was held at a time, in pieces."""

    def __init__(self, frame, count):
        self.frame, self.rows, self.most = frame, -(-frame.height // count), 0.0

    def __call__(self):
        before = pa.total_allocated_bytes()
        for piece in self.frame.iter_slices(self.rows):
            # As one batch, which is freed as a whole: through its stream, as a file has it.
            told = piece.to_arrow(compat_level=pl.CompatLevel.oldest())
            sink = pa.BufferOutputStream()
            with pa.ipc.new_stream(sink, told.schema) as stream:
                stream.write_table(told)
            del told
            given = pl.from_arrow(pa.ipc.open_stream(sink.getvalue()).read_all())
            size = len(sink.getvalue())
            del sink
            yield given
            del given
            self.most = max(self.most, (pa.total_allocated_bytes() - before) / size)
