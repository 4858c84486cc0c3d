"""From members to dates: expected loss, closing window, crew-days and stops."""
