"""Feed: link plan, packet loss, holdover and failures."""
