"""Where the command `synth` begins: Ctrl-C is heard before anything large is read."""

from __future__ import annotations

from synth.interrupt import listen


def main() -> None:
    """Run the command line."""
    listen()
    from synth.outlet import outlive_readers

    outlive_readers()
    from synth.cli import main as command

    command()
