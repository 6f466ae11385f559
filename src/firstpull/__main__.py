"""``python -m firstpull`` is the ``firstpull`` command."""

from firstpull.cli.entry import main

if __name__ == "__main__":
    main()
