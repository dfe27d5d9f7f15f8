"""Numbers, tables, maps and plots as people read them."""
