"""Roads: what a machine meets on the way, which way passes, and what nobody has measured."""
