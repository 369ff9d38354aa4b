"""All tests run cold: nothing is recalled from an earlier run, and nothing is kept for a later one.

The tests of the memory itself name a folder of their own.
"""

from __future__ import annotations

import os

os.environ["SYNTH_CACHE"] = ""
