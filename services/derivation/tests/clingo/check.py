"""Holds derivations against an answer-set solver (clingo): cautious consequences are what is required, brave ones what
is possible, and the order constraints follow from the brave ones. Reads what the example `random_derivations` writes."""

import json
import sys

import clingo

MEMBERSHIP = """
anc(C, C) :- component(C).
anc(C, Q) :- parent(C, P), anc(P, Q).
match(I, A, C) :- pattern(I, P), anc(C, P), action(A), any_action(I).
match(I, A, C) :- pattern(I, P), anc(C, P), action(A), pattern_action(I, A).

1 { value(F, V) : domain(F, V) } 1 :- open(F).
value(F, V) :- known(F, V).
{ chosen(L, I) } :- candidate(L, I).
chosen(L, I) :- stated(L, I).

does(line(L), A, C, P) :- chosen(L, I), operation(L, I, A, C, P).
does(X, A2, C2, P2) :- does(X, A, C, P), implication(I), when(I, W), match(W, A, C), holds(on(I)),
    emits(I, A2, C2, E), here(E, P, P2).
does(task(T, P), A, C, P2) :- task(T, P), emits(T, A, C, E), here(E, P, P2).
here(none, P, P) :- place(P).
here(E, P, E) :- place(E), place(P), E != none.

fires(R, P) :- rule(R), when(R, W), does(X, A, C, P), match(W, A, C), holds(on(R)).
fires(R, none) :- rule(R), every_order(R), holds(on(R)).
fires(R, none) :- rule(R), set_off(R), holds(on(R)).
wanted(T, P) :- fires(R, P), require(R, T).
wanted(Q, P) :- task(T, P), needs(T, Q).
wanted(Q, P) :- task(T, P), left_by(T, Q).
at(T, P, P) :- per_place(T), place(P).
at(T, P, none) :- procedure(T), not per_place(T), place(P).
task(T, P2) :- wanted(T, P), at(T, P, P2), holds(exists(T)).

comes(L, R, P) :- rule(R), when(R, W), does(line(L), A, C, P), match(W, A, C), holds(on(R)).
comes(L, R, P) :- rule(R), when(R, W), does(task(T, P1), A, C, P), match(W, A, C), holds(on(R)), from(L, T, P1).
comes(L, R, none) :- rule(R), every_order(R), holds(on(R)), line(L).
from(L, T, P2) :- comes(L, R, P), require(R, T), at(T, P, P2), holds(exists(T)).
from(L, Q, P2) :- from(L, T, P), needs(T, Q), at(Q, P, P2), holds(exists(Q)).
from(L, Q, P2) :- from(L, T, P), left_by(T, Q), at(Q, P, P2), holds(exists(Q)).

#show task/2.
#show from/3.
#show does/4.
"""

ORDER = """
point(task(T, P)) :- task(T, P).
point(line(L)) :- line(L).
meet(P, P) :- place(P).
meet(none, P) :- place(P).
meet(P, none) :- place(P).
at(T, P, P) :- per_place(T), place(P).
at(T, P, none) :- procedure(T), not per_place(T), place(P).

fixed(task(T, P), line(L)) :- from(L, T, P), phase(T, before).
fixed(line(L), task(T, P)) :- from(L, T, P), phase(T, after).
fixed(task(Q, P2), task(T, P)) :- task(T, P), needs(T, Q), at(Q, P, P2), task(Q, P2).
fixed(task(Q, P2), task(T, P)) :- task(T, P), after(T, Q), task(Q, P2), meet(P, P2), (Q, P2) != (T, P).
mode(task(T, P), task(Q, P2)) :- task(T, P), left_by(T, Q), at(Q, P, P2), task(Q, P2).
fixed(E, L) :- mode(E, L).
behind(X, Y) :- fixed(X, Y).
behind(X, Z) :- behind(X, Y), fixed(Y, Z).
inside(E, L, X) :- mode(E, L), behind(E, X), behind(X, L).
inside(E, L, E) :- mode(E, L).
inside(E, L, L) :- mode(E, L).

of(task(T, P), T) :- task(T, P).
disturbs(X, task(T, P)) :- does(X, A, C, O), point(X), disturbed_by(T, W), match(W, A, C), task(T, P), meet(P, O),
    not of(X, T).
spared(X, Y) :- disturbs(X, Y), mode(Y, L), inside(Y, L, X).
spared(X, Y) :- disturbs(X, Y), mode(E, Y), inside(E, Y, X).
enters(Y) :- mode(Y, L).
has_line(task(T, P)) :- from(L, T, P).
prepares(task(T, P)) :- task(T, P), phase(T, before), has_line(task(T, P)).
its_line(task(T, P), line(L)) :- from(L, T, P).

edge(X, Y) :- fixed(X, Y).
edge(X, Y) :- disturbs(X, Y), not spared(X, Y), not enters(Y), not prepares(Y).
either(Y, L, X) :- disturbs(X, Y), not spared(X, Y), mode(Y, L).
either(Y, L, X) :- disturbs(X, Y), not spared(X, Y), not enters(Y), prepares(Y), its_line(Y, L), not its_line(Y, X),
    not between(Y, X, L).
between(Y, X, L) :- behind(Y, X), behind(X, L).
edge(X, Y) :- either(Y, L, X), leads(X, L).
edge(L, X) :- either(Y, L, X), leads(Y, X).
leads(X, Y) :- edge(X, Y).
leads(X, Z) :- leads(X, Y), edge(Y, Z).
open(Y, L, X) :- either(Y, L, X), not leads(X, Y), not leads(L, X).

#show edge/2.
#show open/3.
"""


def word(text):
    """A constant of the solver for a word; `none` for no word."""
    return "none" if text is None else json.dumps(text)


class Facts:
    """The facts of one catalogue and order."""

    def __init__(self, case):
        self.lines = []
        self.predicates = 0
        self.patterns = 0
        catalogue = case["catalogue"]
        vocabulary = catalogue["vocabulary"]
        for action in vocabulary["actions"]:
            self.say(f"action({word(action['id'])})")
        for component in vocabulary["components"]:
            self.say(f"component({word(component['id'])})")
            if component.get("parent"):
                self.say(f"parent({word(component['id'])}, {word(component['parent'])})")
        self.say("place(none)")
        for place in vocabulary["places"]:
            self.say(f"place({word(place['id'])})")
        self.vehicle(case)
        for at, implication in enumerate(catalogue.get("implications", [])):
            name = f"i{at}"
            self.say(f"implication({name})")
            self.when("when", name, implication["when"])
            self.holds(f"on({name})", implication.get("on", {"all": []}))
            self.emits(name, implication["emits"])
        for entry in catalogue["procedures"]:
            self.procedure(entry)
        for rule in catalogue["rules"]:
            self.rule(rule, case)
        for line in case["lines"]:
            self.say(f"line({line['line']})")
            for at, stated in enumerate(line["operations"]):
                operation = stated["operation"]
                self.say(("stated" if stated["sure"] else "candidate") + f"({line['line']}, {at})")
                self.say(
                    f"operation({line['line']}, {at}, {word(operation['action'])}, "
                    f"{word(operation['component'])}, {word(operation.get('place'))})"
                )

    def say(self, fact):
        self.lines.append(fact + ".")

    def vehicle(self, case):
        vehicle = case["vehicle"]
        known = dict(vehicle.get("features", {}))
        domains = {"make": ["m0", "m1", "another"], "model_year": list(range(2000, 2005))}
        for feature in case["catalogue"]["vocabulary"]["features"]:
            domains[feature["id"]] = feature.get("one_of") or ["yes", "no"]
        for name in ("make", "model_year"):
            if vehicle.get(name) is not None:
                known[name] = vehicle[name]
        for name, domain in domains.items():
            value = known.get(name)
            if value is None:
                self.say(f"open({word(name)})")
                for one in domain:
                    self.say(f"domain({word(name)}, {json.dumps(one)})")
            else:
                value = {True: "yes", False: "no"}.get(value, value) if isinstance(value, bool) else value
                self.say(f"known({word(name)}, {json.dumps(value)})")

    def holds(self, name, predicate):
        """`holds(name)` where the predicate does."""
        ((kind, inner),) = predicate.items()
        if kind == "has":
            self.lines.append(f'holds({name}) :- value({word(inner)}, "yes").')
        elif kind == "lacks":
            self.lines.append(f'holds({name}) :- value({word(inner)}, "no").')
        elif kind == "is":
            for one in inner["one_of"]:
                self.lines.append(f"holds({name}) :- value({word(inner['fact'])}, {word(one)}).")
        elif kind == "model_year":
            bounds = ""
            if inner.get("from") is not None:
                bounds += f", Y >= {inner['from']}"
            if inner.get("to") is not None:
                bounds += f", Y <= {inner['to']}"
            self.lines.append(f'holds({name}) :- value("model_year", Y){bounds}.')
        elif kind == "not":
            self.lines.append(f"holds({name}) :- not holds({self.part(inner)}).")
        elif kind == "all":
            parts = ", ".join(f"holds({self.part(one)})" for one in inner)
            self.lines.append(f"holds({name}) :- {parts}." if parts else f"holds({name}).")
        elif kind == "any":
            for one in inner:
                self.lines.append(f"holds({name}) :- holds({self.part(one)}).")
        else:
            raise ValueError(kind)

    def part(self, predicate):
        self.predicates += 1
        name = f"part({self.predicates})"
        self.holds(name, predicate)
        return name

    def when(self, relation, name, patterns):
        for pattern in patterns:
            self.patterns += 1
            at = self.patterns
            self.say(f"{relation}({name}, {at})")
            self.say(f"pattern({at}, {word(pattern['component'])})")
            if not pattern.get("actions"):
                self.say(f"any_action({at})")
            for action in pattern.get("actions", []):
                self.say(f"pattern_action({at}, {word(action)})")

    def emits(self, name, operations):
        for one in operations:
            self.say(f"emits({name}, {word(one['action'])}, {word(one['component'])}, {word(one.get('place'))})")

    def procedure(self, entry):
        name = word(entry["id"])
        self.say(f"procedure({name})")
        self.say(f"phase({name}, {entry['phase']})")
        self.holds(f"exists({name})", entry.get("exists_on", {"all": []}))
        for other in entry.get("needs", []):
            self.say(f"needs({name}, {word(other)})")
        for other in entry.get("after", []):
            self.say(f"after({name}, {word(other)})")
        if entry.get("per_place"):
            self.say(f"per_place({name})")
        if entry.get("opens"):
            self.say(f"left_by({name}, {word(entry['opens']['left_by'])})")
        self.emits(name, entry.get("emits", []))
        self.when("disturbed_by", name, entry.get("disturbed_by", []))

    def rule(self, rule, case):
        name = word(rule["id"])
        self.say(f"rule({name})")
        when = rule["when"]
        self.when("when", name, when.get("operations", []))
        if when.get("every_order"):
            self.say(f"every_order({name})")
        matches = lambda pattern, code: all(p in ("x", c) for p, c in zip(pattern, code[:5]))
        by_code = any(matches(p, c) for p in when.get("trouble_codes", []) for c in case["trouble_codes"])
        if by_code or set(when.get("complaints", [])) & set(case["complaints"]):
            self.say(f"set_off({name})")
        self.holds(f"on({name})", rule.get("on", {"all": []}))
        for required in rule["require"]:
            self.say(f"require({name}, {word(required)})")


def consequences(program, mode):
    """The atoms shown in every answer set (`cautious`) or in some (`brave`)."""
    control = clingo.Control([f"--enum-mode={mode}", "--warn=none"])
    control.configuration.solve.models = 0
    control.add("base", [], program)
    control.ground([("base", [])])
    last = None
    with control.solve(yield_=True) as handle:
        for model in handle:
            last = set(map(str, model.symbols(shown=True)))
    if last is None:
        raise ValueError("no answer set")
    return last


def point(node):
    if "line" in node:
        return f"line({node['line']})"
    return f"task({word(node['procedure'])},{word(node['place'])})"


def check(case):
    facts = "\n".join(Facts(case).lines)
    brave = consequences(facts + MEMBERSHIP, "brave")
    cautious = consequences(facts + MEMBERSHIP, "cautious")
    tasks = lambda atoms: {atom for atom in atoms if atom.startswith("task(")}
    result = case["result"]
    same = tasks(brave) == {point(one["task"]) for one in result["tasks"]}
    same &= tasks(cautious) == {point(one["task"]) for one in result["tasks"] if one["required"]}
    matching = "\n".join(line for line in MEMBERSHIP.splitlines() if line.startswith(("anc(", "match(")))
    found = "\n".join(atom + "." for atom in brave)
    static = "\n".join(
        line
        for line in facts.splitlines()
        if not line.startswith(("holds(", "open(", "domain(", "known("))
    )
    order = consequences("\n".join([static, matching, found, ORDER]), "brave")
    edges = {f"edge({point(before)},{point(then)})" for before, then in result["edges"]}
    stretches = {f"open({point(a)},{point(b)},{point(c)})" for a, b, c in result["either_or"]}
    return same and order == edges | stretches, brave, cautious, order


def main():
    cases = undetermined = constrained = 0
    for line in sys.stdin:
        case = json.loads(line)
        agrees, brave, cautious, order = check(case)
        if not agrees:
            print(f"seed {case['seed']} differs", json.dumps(case), sep="\n")
            print("brave", sorted(brave), "cautious", sorted(cautious), "order", sorted(order), sep="\n")
            return 1
        cases += 1
        undetermined += any(not one["required"] for one in case["result"]["tasks"])
        constrained += bool(case["result"]["edges"])
    print(f"{cases} cases agree with the solver; {undetermined} with undetermined tasks, {constrained} with order")
    return 0 if cases and undetermined and constrained else 1


if __name__ == "__main__":
    sys.exit(main())
