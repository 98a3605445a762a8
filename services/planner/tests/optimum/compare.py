"""Holds plans of small random shop days against proved optima: compare.py PLANNER [FIRST_SEED [DAYS]].

Fails if a plan costs less than the proved optimum (one of the two then misreads a rule), or if plans are far from it on average.
"""

import json
import subprocess
import sys
import tempfile

from exact import ShopDay
from shop_days import shop_day


def cost(day, plan):
    """Weighted lateness and moves, counted from the printed plan; none if something is unplanned."""
    total = 0
    for order in day["orders"]:
        placed = [(plan["tasks"].get(task["id"]), task) for task in order["tasks"]]
        if any(place is None for place, _ in placed):
            return None
        end = max(place["start"] + task["minutes"] for place, task in placed)
        total += order["weight"] * max(0, end - order["due"])
        stays = [place["bay"] for place, _ in sorted(placed, key=lambda entry: entry[0]["start"]) if place["bay"]]
        total += day["move"]["cost"] * sum(a != b for a, b in zip(stays, stays[1:]))
    return total


def main():
    planner, seed, days = sys.argv[1], int((sys.argv + ["1"])[2]), int((sys.argv[3:] + ["60"])[0])
    proved = met = 0
    gaps, wrong = [], []
    for number in range(seed, seed + days):
        day = shop_day(number)
        exact = ShopDay(day)
        best = exact.solve(20) if exact.possible else None
        if best is None:
            continue
        proved += 1
        with tempfile.NamedTemporaryFile("w", suffix=".json") as file:
            json.dump(day, file)
            file.flush()
            printed = subprocess.run([planner, file.name, "0.3"], capture_output=True, text=True, check=True)
        found = cost(day, json.loads(printed.stdout))
        if found is None or found < best:
            wrong.append(f"{day['name']}: {found}, proved optimum {best}")
            continue
        met += found == best
        gaps.append(100 * (found - best) / max(best, 1))
        if found > best:
            print(f"{day['name']}: {found}, proved optimum {best}")
    mean = sum(gaps) / max(len(gaps), 1)
    print(f"{proved} of {days} optima proved, {met} met, mean gap {mean:.2f} %")
    for line in wrong:
        print(line)
    sys.exit(bool(wrong) or proved < days // 2 or met < proved * 0.8)


main()
