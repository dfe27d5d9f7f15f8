"""The steps, each a module; see `webapp.migrations`."""
