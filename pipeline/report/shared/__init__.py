"""Scripts that more than one page takes as they are."""
