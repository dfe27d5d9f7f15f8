"""Set timing: the delay table and the search for offsets."""
