"""The process ``safeframe``: the command line, with an interpreter that starts and ends quickly."""

import gc
import os
import signal
import sys
from types import FrameType

_INTERRUPTED = 130


def _leave(_signal: int, _frame: FrameType | None) -> None:
    """End at once: nothing has begun, or everything is done."""
    os._exit(_INTERRUPTED)


# A shell that starts a program in the background has it ignore the key, and so it stays.
_LISTENING = signal.getsignal(signal.SIGINT) is signal.default_int_handler
if _LISTENING:
    signal.signal(signal.SIGINT, _leave)


def run() -> int:
    """Run the command line once and return its exit code, for a process that ends afterwards."""
    # Maps and findings hold no cycles. Collecting among them, at the end above all, would cost a
    # check of two files a tenth of its time.
    gc.disable()
    _open_missing()
    code = _INTERRUPTED
    try:
        from ._cli import main

        if _LISTENING:
            signal.signal(signal.SIGINT, signal.default_int_handler)
        code = main()
        if _LISTENING:
            signal.signal(signal.SIGINT, signal.SIG_IGN)
    except KeyboardInterrupt:
        pass
    # An interrupt inside code from a string (the methods of a dataclass are made so) leaves a mark
    # in CPython, which then ends by the signal instead of our code; other such code takes it off.
    eval("0")
    gc.freeze()
    return code


def _open_missing() -> None:
    """Open the standard streams that are closed as nothing, or the next file would be one."""
    for descriptor in (0, 1, 2):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)


if __name__ == "__main__":
    sys.exit(run())
