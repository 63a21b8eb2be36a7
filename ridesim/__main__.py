"""`python -m ridesim` is the command."""

from ridesim.cli.app import main

main()
