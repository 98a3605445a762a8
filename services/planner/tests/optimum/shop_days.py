"""Small random shop days with every rule of the format: bays, skills, shifts with breaks, pools, waits, zones, running work."""

import random


def subset(dice, words, share):
    return [word for word in words if dice.random() < share]


def shop_day(seed, orders=5):
    """An instance as `bayproof plan` reads it; whole minutes, every length a multiple of five."""
    dice = random.Random(seed)
    zones = ["Z1", "Z2"][: dice.choice([1, 1, 2])]
    offers, skills = ["lift", "level"], ["diagnosis", "alignment"]
    bays = []
    for number in range(dice.randint(2, 4)):
        begin = 30 * dice.randint(0, 12)
        bays.append({
            "id": f"B{number}", "zone": dice.choice(zones), "capabilities": subset(dice, offers, 0.6),
            "closed": [[begin, begin + 60]] if dice.random() < 0.3 else [],
        })
    bays[0]["capabilities"] = offers
    technicians = []
    for number in range(dice.randint(2, 3)):
        begin = dice.choice([0, 60])
        day = [[begin, begin + 200], [begin + 230, begin + 420]]
        technicians.append({
            "id": f"T{number}", "zones": subset(dice, zones, 0.7) or [bays[0]["zone"]], "skills": subset(dice, skills, 0.7),
            "shifts": [[a + 1440 * d, b + 1440 * d] for d in range(4) for a, b in day],
        })
    technicians[0]["zones"], technicians[0]["skills"] = zones, skills
    equipment = [{"kind": "scan_tool", "zone": None, "capacity": dice.randint(1, 2)}]
    if len(zones) > 1 and dice.random() < 0.5:
        equipment.append({"kind": "scan_tool", "zone": "Z2", "capacity": 1})
    if dice.random() < 0.5:
        equipment.append({"kind": "maintainer", "zone": None, "capacity": 1})
    kinds = [pool["kind"] for pool in equipment if pool["zone"] is None]
    work = []
    for number in range(orders):
        release = 5 * dice.randint(0, 40)
        tasks = []
        for step in range(dice.randint(1, 4)):
            after = [{"task": other["id"], "wait": dice.choice([0, 0, 10, 25])} for other in tasks if dice.random() < 0.6]
            tasks.append({
                "id": f"R{number}.{step}", "minutes": 5 * dice.randint(2, 18),
                "bay": None if dice.random() < 0.2 else subset(dice, offers, 0.3),
                "skills": None if dice.random() < 0.15 else subset(dice, skills, 0.35),
                "equipment": {kind: 1 for kind in kinds if dice.random() < 0.35}, "after": after,
            })
        total = sum(task["minutes"] for task in tasks)
        home = dice.choice(zones) if dice.random() < 0.2 else bays[0]["zone"]
        work.append({
            "id": f"R{number}", "kind": "any", "zones": [home] + [zone for zone in zones if zone != home],
            "release": release, "due": release + int(total * dice.uniform(0.9, 2.5)), "weight": dice.choice([1, 1, 2, 4]), "tasks": tasks,
        })
    first = work[0]["tasks"][0]
    if dice.random() < 0.5 and first["bay"] is not None and not bays[0]["closed"]:
        begin = technicians[0]["shifts"][0][0]
        work[0]["release"] = 0
        person = None if first["skills"] is None else "T0"
        first["equipment"] = {}
        first["frozen"] = {"start": begin, "bay": "B0", "technician": person}
    return {
        "format": "shop-instance/1", "name": f"random-{seed}", "time_unit": "minute", "now": 10, "horizon": 4 * 1440,
        "move": {"same_zone": 5, "other_zone": 20, "cost": 5},
        "bays": bays, "technicians": technicians, "equipment": equipment, "orders": work,
    }
