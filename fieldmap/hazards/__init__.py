"""The hazard log, what stands in it now, and the ground that was looked at."""
