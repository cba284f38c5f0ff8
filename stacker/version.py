"""The version, in the one place that the package's metadata reads too."""

VERSION = "0.1.0"
PROGRAM = f"stacker {VERSION}"
