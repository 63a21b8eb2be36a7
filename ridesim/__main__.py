"""`python -m ridesim` is the command."""

from ridesim.cli.door import main

if __name__ == "__main__":
    main()
