"""``python -m clicktimer`` is the same as the command ``clicktimer``."""

from clicktimer.cli import main

if __name__ == "__main__":
    main()
