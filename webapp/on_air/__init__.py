"""Put on air: change plan, field sheets, the work packet, readings from the sites."""
