"""The process ``safeframe``: the command line, with an interpreter that starts and ends quickly."""

import gc
import sys

__all__ = ["run"]


def run() -> int:
    """Run the command line once and return its exit code, for a process that ends afterwards."""
    # Maps and findings hold no cycles. Collecting among them, at the end above all, would cost a
    # check of two files a tenth of its time.
    gc.disable()
    from ._cli import main

    code = main()
    gc.freeze()
    return code


if __name__ == "__main__":
    sys.exit(run())
