"""`python -m monitor` is the `bagwatt` command."""

from monitor.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
