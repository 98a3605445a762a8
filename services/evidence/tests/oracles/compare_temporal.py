"""Temporal verdicts against rtamt, a monitor of signal temporal logic, on random traces of whole seconds.

Bounded past-time formulas say what the verdicts mean. `ok` and `bad` are readings that satisfy and that do not:
a hold of H seconds is shown at a reading if that is `ok`, no `bad` lies in the H seconds before it, and every
`ok` reading within those H seconds follows another within one gap with nothing `bad` between.
"""

import rtamt

from ours import Ours

LENGTH = 60


def monitor(formula):
    spec = rtamt.StlDiscreteTimeOfflineSpecification()
    for name in ("ok", "bad", "begin"):
        spec.declare_var(name, "float")
    spec.declare_var("out", "float")
    spec.spec = f"out = {formula}"
    spec.parse()

    def truth(ok, bad, begin=frozenset()):
        times = list(range(2 * LENGTH))
        rows = {"time": times}
        for name, moments in (("ok", ok), ("bad", bad), ("begin", begin)):
            rows[name] = [1.0 if time in moments else 0.0 for time in times]
        return [value > 0 for _, value in spec.evaluate(rows)]

    return truth


CHAIN = "((bad < 0.5) since[1:{gap}] (ok > 0.5))"


def hold(gap, seconds):
    chain = f"((ok > 0.5) implies {CHAIN.format(gap=gap)})"
    parts = ["(ok > 0.5)"]
    if seconds:
        parts.append(f"(historically[0:{seconds}] (bad < 0.5))")
        parts.append(f"(historically[0:{seconds - 1}] {chain})")
    return monitor(" and ".join(parts))


def trace(ours):
    density, good = ours.random.choice([0.2, 0.4, 0.8]), ours.random.choice([0.7, 0.9, 0.97])
    readings = [(t, ours.random.random() < good) for t in range(LENGTH) if ours.random.random() < density]
    return readings, {t for t, ok in readings if ok}, {t for t, ok in readings if not ok}


def holds(ours):
    for gap in (3, 5, 9):
        for seconds in (0, 1, 4, 10, 25):
            shown, violated = hold(gap, seconds), monitor(f"once[0:{seconds}] (bad > 0.5)")
            for _ in range(12):
                readings, ok, bad = trace(ours)
                met, broken = shown(ok, bad), violated(ok, bad)
                max_age = ours.random.choice([None, 0, 2, 7, 20])
                for now in range(LENGTH):
                    seen = [one for one in readings if one[0] <= now]
                    case = dict(readings=seen, gap=gap, hold_for=seconds, max_age=max_age, now=now)
                    own = ours.ask("as_of", **case)
                    ours.compare(case, own, verdict(seen, met, broken, case))


def verdict(seen, met, broken, case):
    if not seen:
        return "missing"
    last, satisfied = seen[-1]
    if not satisfied:
        return "violated"
    limit = case["max_age"]
    if limit is None and case["hold_for"]:
        limit = case["gap"]
    if limit is not None and case["now"] - last > limit:
        return "stale"
    if met[last]:
        return "met"
    return "violated" if broken[last] else "missing"


def throughout(ours):
    """In half seconds: a gap that is one second too long shows only between two whole ones."""
    for gap in (3, 5, 9):
        for run in (0, 3, 8, 20, 35):
            known = monitor(f"historically[0:{2 * run}] (once[0:{2 * gap}] (ok > 0.5 or begin > 0.5))")
            broken = monitor(f"once[0:{2 * run}] (bad > 0.5)")
            shown = monitor(f"once[0:{2 * run}] (ok > 0.5)")
            fresh = monitor(f"once[0:{2 * gap}] (ok > 0.5)")
            before = monitor(CHAIN.format(gap=2 * gap))
            for _ in range(12):
                readings, ok, bad = trace(ours)
                ok, bad = {2 * t for t in ok}, {2 * t for t in bad}
                speaks, violated = before(ok, bad), broken(ok, bad)
                in_run, still = shown(ok, bad), fresh(ok, bad)
                for now in range(run, LENGTH):
                    begin = now - run
                    # Only the last reading before the begin speaks for it; without one the begin itself counts.
                    earlier = {2 * max((t for t, _ in readings if t < begin), default=0)} if speaks[2 * begin] else set()
                    kept = {t for t in ok if t >= 2 * begin} | earlier
                    whole = known(kept, set(), set() if earlier else {2 * begin})[2 * now]
                    case = dict(readings=[one for one in readings if one[0] <= now], gap=gap, now=now)
                    case["from"] = begin
                    own = ours.ask("throughout", **case)
                    if violated[2 * now]:
                        other = "violated"
                    else:
                        met = whole and still[2 * now] and (in_run[2 * now] or speaks[2 * begin])
                        other = "met" if met else "other"
                    ours.compare(case, own if own in ("met", "violated") else "other", other)


def main():
    ours = Ours()
    holds(ours)
    throughout(ours)
    ours.end("temporal verdicts against rtamt", 15_000)


main()
