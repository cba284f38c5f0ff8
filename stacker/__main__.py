"""``python -m stacker``."""

from stacker.cli import main

main()
