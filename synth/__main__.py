"""`python -m synth`: the same as the command `synth`, where that is on no path."""

from synth.start import main

if __name__ == "__main__":
    main()
