"""Let ``python -m edgewind`` do what ``edgewind`` does."""

from edgewind.cli import main

if __name__ == "__main__":
    main()
