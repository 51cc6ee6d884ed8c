"""The edge: everything here reads or writes files; computing modules import none of it."""
