"""Risk on the ground: a level and a governing cause for each cell, zones, findings."""
