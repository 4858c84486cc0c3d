"""When to close each pond of a fall route: water temperature, freeze risk and crew plan."""

__version__ = "0.1.0"
