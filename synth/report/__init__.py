"""What a user sees. Draws what it is handed; never simulates or solves.

Rooms: `document` (a plan as JSON), `terminal` (plans, verdicts and kits in a terminal), `wiring`
and `timing` (SVG drawings), with `layout`, `layers`, `symbols`, `svg`, `time_axis` and `strips`
behind them, and `paper` (what goes on a sheet) with `wiring_sheets`.
"""
