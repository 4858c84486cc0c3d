"""The visit itself and the winter after it: kit, steps, energy, days to look again. No files, no clock."""
