"""`python -m siteplanner`."""

from siteplanner.cli import main

main()
