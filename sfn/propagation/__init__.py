"""How much a signal loses on its way: free space, smooth earth, and ITU-R P.1812 over terrain.

`p1812` works out one path with every intermediate; `sweep` works out a raster. They share no code.
"""
