"""Every table of Yardband: columns, types, units, bounds and rules, each declared in this folder and nowhere else.

A module for each topic. The names of the published tables are the contract's. A schema is used with one of two verbs:
`filter` splits foreign rows into accepted and rejected, `validate` raises on our own tables.
"""
