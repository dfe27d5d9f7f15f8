"""The ground: heights from files, profiles along geodesics, what stands on the ground, and hillshade."""
