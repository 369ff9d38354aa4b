"""What a part is.

Rooms: `behaviour` (how each type acts), `sharing` (how units divide), `kit` (what is on
offer), `markings` (what trade parts carry at their terminals).
"""
