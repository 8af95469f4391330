"""Entry of ``python -m edgewind``, the same as ``edgewind``."""

from edgewind.cli import main

if __name__ == "__main__":
    main()
