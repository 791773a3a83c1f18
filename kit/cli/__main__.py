"""`python -m kit.cli` does what the command `kit` does."""

from kit.cli import main

main()
