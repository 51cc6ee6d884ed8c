"""Ball flight in SI: air, ball, trajectory, run, impact, and a table of flights for mass use."""
