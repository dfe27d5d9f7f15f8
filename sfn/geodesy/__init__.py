"""Where things are and how far apart: positions, geodesics, travel times, the pixel grid of the maps.

Latitude comes before longitude everywhere here; pyproj's ``lon, lat`` order does not leave this part.
"""
