"""What the elevation says: grids in, grids out."""
