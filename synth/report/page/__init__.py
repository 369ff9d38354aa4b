"""One HTML page in which a circuit runs: its diagram, controls, goals and a strip chart.

Rooms, in the order in which the page is made: `data` (what its scripts know), `diagram` (the
wiring as SVG with its moving pieces), `page` (all of it in one file). The scripts are `engine.js`
and `wanted.js` (what circuit and goals do), `player.js` (time, and a record to go back in),
`words.js`, `link.js` (a run as the end of an address), `drawing.js`, `stage.js`, `keys.js` and
`view.js` (what one sees and works); `page.html` and `page.css` are its form.
"""
