"""`python -m cogloupe` is the command line."""

from cogloupe.commands import main

if __name__ == "__main__":
    main()
