"""`python -m tierpole` is the command line."""

from tierpole.cli import main

main()
