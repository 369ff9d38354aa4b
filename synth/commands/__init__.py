"""Commands of the command line that have a file of their own; each knows the pipeline and click."""
