"""What stood when: records of each site in the order in which they held, and what follows for the present."""
