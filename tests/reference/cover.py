"""Random plans and stocks, and their best covers by another solver.

Writes tests/data/cover/random.jsonl: a line a case with the plan, the stock, the offers
(in every third case) and the optimum by scipy.optimize.milp (HiGHS): modules finished,
priority by priority; pieces missing for the rest; where there are offers, pieces that
nobody sells and the least price.

The program under test gathers lines and colours into a small network and leaves most
variables real. Here nothing is gathered and every variable is whole: one for each line,
seen or hidden, and each group of stock; joins are listed by trying out every way to lay
the parts. A case that HiGHS does not prove optimal is an error.
"""

import itertools
import json
import random
from pathlib import Path

import numpy as np
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import coo_array

OUT = Path(__file__).parent.parent / "data" / "cover" / "random.jsonl"
CASES = 200
FORMS = ["brick", "plate", "tile"]
SIZES = [(1, 1), (1, 2), (1, 4), (2, 2), (2, 3), (2, 4), (2, 6), (2, 8)]
COLOURS = ["basalt", "slate", "sand", "rose", "fog", "tar", "kelp", "buoy"]
MOST_PARTS = 4


def word(size):
    return f"{size[0]}x{size[1]}"


def lays(whole, parts):
    """Whether the parts, each once and in any order, cover the whole without gap or overlap."""
    rows, columns = whole
    def fill(taken, left):
        spot = next(((r, c) for r in range(rows) for c in range(columns) if (r, c) not in taken), None)
        if spot is None:
            return not left
        for part in set(left):
            for height, width in {part, part[::-1]}:
                cells = {(spot[0] + i, spot[1] + j) for i in range(height) for j in range(width)}
                inside = all(r < rows and c < columns for r, c in cells)
                if inside and not cells & taken:
                    rest = list(left)
                    rest.remove(part)
                    if fill(taken | cells, rest):
                        return True
        return False
    return fill(frozenset(), list(parts))


def ways(whole):
    """Every multiset of two to four of SIZES that covers the whole."""
    area = whole[0] * whole[1]
    found = []
    for number in range(2, MOST_PARTS + 1):
        for parts in itertools.combinations_with_replacement(SIZES, number):
            if sum(a * b for a, b in parts) == area and lays(whole, parts):
                found.append(parts)
    return found


WAYS = {size: ways(size) for size in SIZES}


def takes(choice, colour):
    if choice == "any":
        return True
    if isinstance(choice, dict):
        return colour not in choice["any_but"]
    return colour in choice


def random_choice(dice):
    kind = dice.randrange(4)
    if kind == 0:
        return [dice.choice(COLOURS)]
    if kind == 1:
        return sorted(dice.sample(COLOURS, dice.randint(2, 4)))
    if kind == 2:
        return {"any_but": sorted(dice.sample(COLOURS, dice.randint(1, 3)))}
    return "any"


def random_case(number):
    dice = random.Random(number)
    # Every fourth case has the full size; few forms in most, so that lines compete.
    lines = 40 if number % 4 == 0 else dice.randint(1, 40)
    groups = 60 if number % 4 == 0 else dice.randint(1, 60)
    forms = FORMS[: dice.randint(1, 3)]
    plan = {"plan": "v1", "modules": []}
    while lines > 0:
        some = min(lines, dice.choice([1, 2, 2, 3, 4, 8]))
        lines -= some
        wanted = dice.randint(1, 20)
        module = {
            "module": f"module {len(plan['modules']) + 1}",
            "wanted": wanted,
            "hidden": dice.choice([0, dice.randint(0, wanted)]),
            "priority": dice.choice([1, 1, 1, 2]),
            "lines": [],
        }
        for _ in range(some):
            line = {
                "form": dice.choice(forms),
                "size": word(dice.choice(SIZES)),
                "count": dice.choice([1, 1, 2, 2, 3, 4, 6]),
                "colours": random_choice(dice),
                "joins": dice.choice(["never", "never", "hidden", "always"]),
            }
            if dice.random() < 0.4:
                line["hidden_colours"] = random_choice(dice)
            module["lines"].append(line)
        plan["modules"].append(module)
    # Mostly what the plan asks for, in colours at random; else hardly a module could be
    # finished and there would be nothing to choose.
    asked = sorted({(line["form"], line["size"]) for module in plan["modules"] for line in module["lines"]})
    asked = [(form, tuple(int(side) for side in size.split("x"))) for form, size in asked]
    kinds = [piece + (colour,) for piece in asked for colour in COLOURS]
    dice.shuffle(kinds)
    others = [kind for kind in itertools.product(forms, SIZES, COLOURS) if kind not in kinds]
    dice.shuffle(others)
    kinds = kinds[: groups * 4 // 5] + others
    stock = [
        [form, word(size), colour, dice.randint(1, 60)]
        for form, size, colour in sorted(kinds[:groups])
    ]
    case = {"case": number, "plan": plan, "stock": stock}
    if number % 3 == 0:
        case["offers"] = random_offers(dice, [(form, word(size)) for form, size in asked])
    return case


def random_offers(dice, asked):
    offers = {"offers": "v1", "pieces": [], "cups": []}
    for _ in range(dice.randint(10, 40)):
        offer = {
            **dict(zip(("form", "size"), dice.choice(asked))),
            "colour": dice.choice(COLOURS),
            "price": dice.randint(5, 60) / 100,
        }
        if dice.random() < 0.3:
            offer["minimum"] = dice.choice([5, 10, 20])
        if dice.random() < 0.2:
            offer["most"] = dice.randint(20, 60)
        offers["pieces"].append(offer)
    for _ in range(dice.randint(0, 6)):
        offers["cups"].append({
            **dict(zip(("form", "size"), dice.choice(asked))),
            "colour": dice.choice(COLOURS),
            "price": dice.randint(300, 900) / 100,
            "holds": dice.randint(20, 80),
        })
    return offers


class Program:
    """A list of whole variables and of rows."""

    def __init__(self):
        self.most, self.rows, self.low, self.high = [], [], [], []

    def var(self, most):
        self.most.append(most)
        return len(self.most) - 1

    def row(self, terms, low, high):
        self.rows.append(terms)
        self.low.append(low)
        self.high.append(high)

    def best(self, cost):
        """The least cost; the row that holds it there is added for what comes after."""
        weights = np.zeros(len(self.most))
        for var, weight in cost:
            weights[var] += weight
        at, var, value = [], [], []
        for index, terms in enumerate(self.rows):
            for name, factor in terms:
                at.append(index)
                var.append(name)
                value.append(factor)
        matrix = coo_array((value, (at, var)), shape=(len(self.rows), len(self.most))).tocsr()
        answer = milp(
            weights,
            integrality=np.ones(len(self.most)),
            bounds=(np.zeros(len(self.most)), np.array(self.most)),
            constraints=LinearConstraint(matrix, self.low, self.high),
            options={"mip_rel_gap": 0.0, "time_limit": 300.0},
        )
        if answer.status != 0:
            raise SystemExit(f"not proven: {answer.message}")
        return answer.fun


def solve(case):
    plan, offers = case["plan"], case.get("offers")
    stock = {(form, size, colour): count for form, size, colour, count in case["stock"]}
    program = Program()
    variants = []
    for module in plan["modules"]:
        for hidden, wanted in [(False, module["wanted"] - module["hidden"]), (True, module["hidden"])]:
            if wanted:
                variants.append((module, hidden, wanted, program.var(wanted)))
    sales = []
    for is_cup, key in [(False, "pieces"), (True, "cups")]:
        for offer in (offers or {}).get(key, []):
            sales.append((is_cup, offer, [], program.var(100_000)))
    used = {kind: [] for kind in stock}
    missing, unsold = [], []

    def draw(form, size, will_do, later):
        """Variables that bring one piece each: from stock, and bought ones too if `later`."""
        found = []
        for kind in stock:
            if kind[0] == form and kind[1] == size and will_do(kind[2]):
                var = program.var(stock[kind])
                used[kind].append((var, 1))
                found.append((var, 1))
        if later:
            for _, offer, bought, _ in sales:
                if (offer["form"], offer["size"]) == (form, size) and will_do(offer["colour"]):
                    var = program.var(100_000)
                    bought.append((var, 1))
                    found.append((var, 1))
        return found

    for module, hidden, wanted, finished in variants:
        for line in module["lines"]:
            def will_do(colour, line=line, hidden=hidden):
                too = hidden and "hidden_colours" in line and takes(line["hidden_colours"], colour)
                return takes(line["colours"], colour) or too
            count = line["count"]
            joins = line["joins"] == "always" or line["joins"] == "hidden" and hidden
            size = tuple(int(side) for side in line["size"].split("x"))
            # Twice: for modules that are finished now, and for those that come later.
            for later in [False, True]:
                got = draw(line["form"], line["size"], will_do, later and offers is not None)
                if joins:
                    need = {}
                    for parts in WAYS[size]:
                        var = program.var(wanted * count)
                        got.append((var, 1))
                        for part in parts:
                            terms = need.setdefault(part, {})
                            terms[var] = terms.get(var, 0) + 1
                    for part, terms in need.items():
                        there = draw(line["form"], word(part), will_do, later and offers is not None)
                        program.row(there + [(var, -n) for var, n in terms.items()], 0, 0)
                if later:
                    lacking = program.var(wanted * count)
                    (unsold if offers else missing).append((lacking, 1))
                    program.row(got + [(lacking, 1), (finished, count)], wanted * count, wanted * count)
                else:
                    program.row(got + [(finished, -count)], 0, 0)
    for kind, terms in used.items():
        program.row(terms, 0, stock[kind])
    cost = []
    for is_cup, offer, bought, units in sales:
        holds = offer["holds"] if is_cup else 1
        program.row(bought + [(units, -holds)], -np.inf, 0)
        program.row([(units, 1)], 0, offer.get("most", 100_000))
        cost.append((units, offer["price"]))
        if offer.get("minimum", 1) > 1:
            at_all = program.var(1)
            program.row([(units, 1), (at_all, -offer["minimum"])], 0, np.inf)
            program.row([(units, 1), (at_all, -100_000)], -np.inf, 0)
    answer = {"modules": []}
    for priority in sorted({module["priority"] for module, *_ in variants}):
        of_level = [(var, -1) for module, _, _, var in variants if module["priority"] == priority]
        best = -round(program.best(of_level))
        answer["modules"].append(best)
        program.row([(var, 1) for var, _ in of_level], best, np.inf)
    lacking = unsold if offers else missing
    least = round(program.best(lacking))
    answer["not_sold" if offers else "missing"] = least
    if offers:
        program.row(lacking, 0, least)
        answer["cost"] = round(program.best(cost), 4)
    return answer


def main():
    OUT.parent.mkdir(parents=True, exist_ok=True)
    with OUT.open("w") as file:
        for number in range(1, CASES + 1):
            case = random_case(number)
            case["best"] = solve(case)
            print(number, case["best"], flush=True)
            file.write(json.dumps(case, separators=(",", ":")) + "\n")


if __name__ == "__main__":
    main()
