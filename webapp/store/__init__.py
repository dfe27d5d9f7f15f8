"""What is kept, and by whom: networks and their revisions, entries, people, the audit trail, back-ups."""
