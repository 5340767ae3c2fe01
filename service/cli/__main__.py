"""`python -m service.cli` is `foldmark`."""

from service.cli import main

main()
