"""Why is each part there? Changes a design in one place, and asks what breaks.

Rooms, in flow order: `removals` (the changed designs), `blame` (which goal wants what is missing),
`wishes` (for how it is built, one by one), `reasons` (each change judged, and told), `alone` (what
can be asked by itself). The judge is handed in: the exact check.
"""

from synth.explain.reasons import Judge, explain

__all__ = ["Judge", "explain"]
