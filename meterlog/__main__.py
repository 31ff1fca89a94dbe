"""`python -m meterlog` is the command `meterlog`."""

from meterlog.cli import main

if __name__ == "__main__":
    main()
