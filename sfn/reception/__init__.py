"""What a listener gets: signals at a point, statistics over places, areas and roads."""
