"""What Ctrl-C does outside a command: one line and code 3, at once.

Python's own answer to it is a traceback, and click's is code 1, which here says that something was
proven. What a command does about it while it works is for the command line to say (`cli`).
"""

from __future__ import annotations

import os
import signal

STOPPED = "stopped by Ctrl-C; nothing is claimed"
_UNDECIDED = 3
"""As in `synth.errors`, which takes its time to be read."""


def heard(number: int, frame: object) -> None:
    """End the process at once: nothing is under way that would have to be tidied up."""
    try:
        os.write(2, f"synth: {STOPPED}\n".encode())
    finally:
        os._exit(_UNDECIDED)


def listen() -> None:
    """Hear Ctrl-C from now on. Where it is not to be heard at all, it stays so."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, heard)
