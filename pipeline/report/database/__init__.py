"""The study's database, for queries of one's own."""
