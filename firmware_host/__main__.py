"""`python -m firmware_host` is the `circumstep` command."""

from firmware_host.cli.main import main

if __name__ == "__main__":
    main()
