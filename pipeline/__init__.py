"""Yardband: speed-band benchmarks of driver carry, and who is losing yards.

Data flows one way, through the folders in this order: collect, flight, fit, benchmark, golfers, report.
"""
