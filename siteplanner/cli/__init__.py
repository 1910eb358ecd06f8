"""The command line. Exit codes: 0 done, 1 done but no spot passes, 2 bad input, 130 interrupted.

Messages go to stderr, results to stdout; `--json` prints machine-readable results.
"""

from siteplanner.cli.commands import app
from siteplanner.cli.ending import main, run

__all__ = ["app", "main", "run"]
