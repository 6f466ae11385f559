"""``python -m firstpull`` is the ``firstpull`` command."""

from firstpull.cli.app import main

if __name__ == "__main__":
    main()
