"""The brief that comes by itself: what changed, alarms, their delivery, and the watch over a folder."""
