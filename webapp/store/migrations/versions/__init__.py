"""The steps, each a module; see `webapp.store.migrations`."""
