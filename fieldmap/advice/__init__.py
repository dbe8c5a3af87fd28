"""How the mower is to be set, from the crop, the ground and what the machine can carry."""
