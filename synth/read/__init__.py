"""Phrases and files in: every mistake leaves as one sentence with its place.

Rooms, in the order in which text walks through them: `suggest` (nearest word), `yaml_source`
(YAML and JSON to nodes that know their place), `kit_file`, `design_file`, `splitting` (a text cut
into phrases), `lexer` (phrases cut into tokens), `phrases` (the goal language, its grammar kept as
data), `conditions` and `builder` (trees to goals), `doubts` (phrases with two meanings), `mistakes`
(messages for phrases that do not parse), `goal_file`.
"""
