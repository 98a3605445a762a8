"""The rules and the objective of a shop day as a model of constraints, for the exact solver CP-SAT (OR-Tools).

It shares nothing with the planner but the format. Each task has one literal per bay and per person that could do it; what a pool holds, who is where and
the way between two bays follow from them.
"""

from ortools.sat.python import cp_model


class ShopDay:
    """A model of constraints of one instance."""

    def __init__(self, day):
        self.day, self.model = day, cp_model.CpModel()
        self.zone_of = {bay["id"]: bay["zone"] for bay in day["bays"]}
        self.pools = {(pool["kind"], pool["zone"]): pool["capacity"] for pool in day["equipment"]}
        self.in_bay = {bay["id"]: [self.closed(window) for window in bay["closed"]] for bay in day["bays"]}
        self.with_person = {person["id"]: [] for person in day["technicians"]}
        self.in_pool = {pool: [] for pool in self.pools}
        self.start, self.bays, self.cost = {}, {}, []
        self.possible = all([self.order(order) for order in day["orders"]])
        for intervals in [*self.in_bay.values(), *self.with_person.values()]:
            self.model.add_no_overlap(intervals)
        for pool, uses in self.in_pool.items():
            self.model.add_cumulative([use for use, _ in uses], [units for _, units in uses], self.pools[pool])
        self.model.minimize(sum(self.cost))

    def closed(self, window):
        return self.model.new_fixed_size_interval_var(window[0], window[1] - window[0], "closed")

    def order(self, order):
        model, day = self.model, self.day
        if not all([self.task(order, task) for task in order["tasks"]]):
            return False
        lengths = {task["id"]: task["minutes"] for task in order["tasks"]}
        for task in order["tasks"]:
            for edge in task["after"]:
                if "frozen" not in task:
                    before = edge["task"]
                    model.add(self.start[task["id"]] >= self.start[before] + lengths[before] + edge["wait"])
        end = model.new_int_var(-day["horizon"], day["horizon"], "end")
        model.add_max_equality(end, [self.start[task] + length for task, length in lengths.items()])
        late = model.new_int_var(0, 2 * day["horizon"], "late")
        model.add(late >= end - order["due"])
        self.cost.append(order["weight"] * late)
        self.one_place(order, lengths)
        return True

    def task(self, order, task):
        """Where, by whom, when; false if nobody or nowhere can."""
        model, day, name, length = self.model, self.day, task["id"], task["minutes"]
        frozen = task.get("frozen")
        earliest = max(day["now"], order["release"])
        begin = frozen["start"] if frozen else model.new_int_var(earliest, max(earliest, day["horizon"] - length), name)
        self.start[name] = begin
        zones = {}  # zone: literals of which one holds there
        if task["bay"] is None:
            here = model.new_constant(1)
            self.bays[name] = {None: here}
            zones[order["zones"][0]] = [here]
        else:
            able = [bay["id"] for bay in day["bays"] if bay["zone"] in order["zones"] and set(task["bay"]) <= set(bay["capabilities"])]
            if frozen:
                able = [frozen["bay"]]
            self.bays[name] = {bay: model.new_bool_var(f"{name} in {bay}") for bay in able}
            for bay, there in self.bays[name].items():
                self.in_bay[bay].append(model.new_optional_fixed_size_interval_var(begin, length, there, f"{name} {bay}"))
                zones.setdefault(self.zone_of[bay], []).append(there)
        if not self.bays[name]:
            return False
        model.add_exactly_one(self.bays[name].values())
        self.people(task, begin, zones, frozen)
        self.equipment(task, begin, zones)
        return True

    def people(self, task, begin, zones, frozen):
        model, name, length = self.model, task["id"], task["minutes"]
        if task["skills"] is None:
            return
        chosen = []
        for person in self.day["technicians"]:
            if frozen and person["id"] != frozen["technician"]:
                continue
            if not frozen and not set(task["skills"]) <= set(person["skills"]):
                continue
            works = model.new_bool_var(f"{name} by {person['id']}")
            chosen.append(works)
            self.with_person[person["id"]].append(model.new_optional_fixed_size_interval_var(begin, length, works, name))
            if frozen:
                continue
            for zone, there in zones.items():
                if zone not in person["zones"]:
                    for literal in there:
                        model.add_implication(works, ~literal)
            windows = []
            for opens, closes in person["shifts"]:
                within = model.new_bool_var("within")
                windows.append(within)
                model.add(begin >= opens).only_enforce_if(within)
                model.add(begin + length <= closes).only_enforce_if(within)
            model.add_bool_or([*windows, ~works])
        model.add_exactly_one(chosen)

    def equipment(self, task, begin, zones):
        for kind, units in task["equipment"].items():
            for zone, there in zones.items():
                pool = (kind, zone) if (kind, zone) in self.pools else (kind, None)
                for literal in there:
                    if pool not in self.pools:
                        self.model.add(literal == 0)
                        continue
                    use = self.model.new_optional_fixed_size_interval_var(begin, task["minutes"], literal, task["id"])
                    self.in_pool[pool].append((use, units))

    def way(self, bay, other):
        if bay is None or other is None or bay == other:
            return 0
        return self.day["move"]["same_zone" if self.zone_of[bay] == self.zone_of[other] else "other_zone"]

    def one_place(self, order, lengths):
        """The tasks of a vehicle in a sequence, with the way between two bays; changes of bay are counted along those with a bay."""
        model, names = self.model, list(lengths)
        for place, task in enumerate(names):
            for other in names[place + 1 :]:
                first = model.new_bool_var(f"{task} before {other}")
                for (a, b), holds in (((task, other), first), ((other, task), ~first)):
                    model.add(self.start[a] + lengths[a] <= self.start[b]).only_enforce_if(holds)
                    for bay, here in self.bays[a].items():
                        for there_bay, there in self.bays[b].items():
                            way = self.way(bay, there_bay)
                            if way:
                                model.add(self.start[a] + lengths[a] + way <= self.start[b]).only_enforce_if([holds, here, there])
        inside = [task for task in names if None not in self.bays[task]]
        if len(inside) < 2:
            return
        arcs = [(0, place + 1, model.new_bool_var("first")) for place in range(len(inside))]
        arcs += [(place + 1, 0, model.new_bool_var("last")) for place in range(len(inside))]
        for i, task in enumerate(inside):
            for j, other in enumerate(inside):
                if i == j:
                    continue
                follows = model.new_bool_var(f"{other} follows {task}")
                arcs.append((i + 1, j + 1, follows))
                model.add(self.start[task] + lengths[task] <= self.start[other]).only_enforce_if(follows)
                moves = model.new_bool_var("moves")
                self.cost.append(self.day["move"]["cost"] * moves)
                for bay, here in self.bays[task].items():
                    stays = [self.bays[other][bay]] if bay in self.bays[other] else []
                    model.add_bool_or([moves, ~follows, ~here, *stays])
        model.add_circuit(arcs)

    def solve(self, seconds):
        """The least cost if it was proved."""
        solver = cp_model.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.num_workers = 1
        status = solver.solve(self.model)
        return round(solver.objective_value) if status == cp_model.OPTIMAL else None
