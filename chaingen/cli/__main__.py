"""The command line as `python -m chaingen.cli`."""

from chaingen.cli import main

if __name__ == "__main__":
    main()
