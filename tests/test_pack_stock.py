"""What is in stock, in the lists of a hand-over pack. The scenario is invented."""

from __future__ import annotations

import csv
from pathlib import Path

from test_modes import ROOT, kept
from test_pack import run


def test_what_is_in_stock_is_not_to_be_bought(tmp_path: Path) -> None:
    """Beside the prices of the kit, counted by hand for each line."""
    goals = tmp_path / "goals.yaml"
    known = (ROOT / "goals" / "potting-shed.yaml").read_text("utf-8")
    stock = {"pulse timer": 1, "relay break": 3}
    lines = "".join(f"  {name}: {number}\n" for name, number in stock.items())
    goals.write_text(f"{known}stock:\n{lines}", "utf-8")
    out = tmp_path / "pack"
    design = str(ROOT / "tests" / "designs" / "potting-shed.json")
    assert run("pack", design, str(goals), "--out", str(out)).exit_code == 0
    problem, parts = kept("potting-shed")
    used = [part.part for part in parts.parts]
    with (out / "06-shopping.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["kit part"] for row in rows] == list(dict.fromkeys(used))
    to_pay = 0
    for row in rows:
        name, number = row["kit part"], used.count(row["kit part"])
        there = min(number, stock.get(name, 0))
        price = problem.kit.index[name].price
        assert row["number"] == str(number) and row["from stock"] == str(there)
        assert row["to buy"] == str(number - there)
        assert row["coins to pay"] == str(price * (number - there))
        to_pay += price * (number - there)
    assert used.count("pulse timer") == 2 and used.count("relay break") == 1
    page = (out / "06-parts.md").read_text("utf-8")
    whole = parts.price(problem.kit)
    assert f"Together {whole} coins" in page and f"so {to_pay} coins are to be paid" in page
    assert "from stock: " in page and "1 x pulse timer" in page and "1 x relay break" in page
    with (out / "06-parts.csv").open(encoding="utf-8", newline="") as file:
        for part in csv.DictReader(file):
            name = part["kit part"]
            spare = max(0, stock[name] - used.count(name)) if name in stock else ""
            assert part["spares in stock"] == str(spare)
