"""`python -m siteplanner`, and the command of that name."""

import sys


def start() -> None:
    """Run the command line. An interruption while its libraries are still being loaded is told as any later one."""
    try:
        from siteplanner.cli import main
    except KeyboardInterrupt:
        print("Interrupted; nothing was written.", file=sys.stderr)
        sys.exit(130)
    main()


if __name__ == "__main__":
    start()
