"""From a list of goals in plain words to the cheapest circuit that fulfils them.

Rooms, in the order in which data walks through the house:

goal text -> `read` -> `goals` -> `pose` -> `requirements`, `problem`
-> (`search` <-> `check`, with `share` for power) -> `design`, `result` -> `report`

Nouns are files, verbs are folders; `pipeline` alone joins verbs, `cli` knows the pipeline.
"""

__version__ = "0.1.0"
