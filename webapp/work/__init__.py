"""What takes seconds: jobs, terrain files, maps, recordings and logs."""
