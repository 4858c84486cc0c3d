"""After a cold snap: what it did to the open sites and who goes first. Pure: no files, no clock."""
