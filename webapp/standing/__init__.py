"""What stands of a network, for several groups of pages: drafts, tries, released sheets, readings, the timeline."""
