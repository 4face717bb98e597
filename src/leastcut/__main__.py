"""Run with ``python -m leastcut``."""

from leastcut.cli import main

if __name__ == "__main__":
    main()
