"""What the office owns: settings, site sheet, readings. Reads files, never computes a forecast."""
