"""Each site's water temperature from air temperature and readings, with its uncertainty."""
