"""Around every page: who comes in, what is read of a request, how a record becomes a page or JSON."""
