"""Pages outside one network: its list, services, people and their record, trust, the interface."""
