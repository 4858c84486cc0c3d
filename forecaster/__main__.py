"""`python -m forecaster`."""

from forecaster.cli import main

main()
