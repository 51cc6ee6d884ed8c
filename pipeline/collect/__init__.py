"""Collecting: foreign shot logs in, one database of pseudonymous drives out. Names never leave this stage."""
