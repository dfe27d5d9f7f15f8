"""Open data of a region: which tiles it takes, fetching them when somebody asks, keeping and carrying them."""
