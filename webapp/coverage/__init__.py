"""Coverage: the overlap map, reception at a point and along a route, path profile, list of signals."""
