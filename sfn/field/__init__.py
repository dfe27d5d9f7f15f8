"""Field strength of a site at points and over grids, kept on disk, and drawn as contours."""
