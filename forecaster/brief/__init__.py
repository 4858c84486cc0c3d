"""What changed and whom to tell: the morning brief, alarms, their delivery, and the watch that runs them."""
