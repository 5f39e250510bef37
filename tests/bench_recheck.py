"""Benchmark of the recheck: actions and wrong maps over every kind of change, with intervals, and how sure it says it is.

    python -m tests.bench recheck [--quick] [--runs 1000] [--seed 1] [--only six,dead] [--keep runs.jsonl]
    python -m tests.bench recheck --add runs.jsonl more.jsonl
    python -m tests.bench recheck --kept

--keep writes every run to a file as it ends, a line each, so that nothing is lost when a long row is broken off; --add
counts the runs of such files, each seed of a row once, into recheck/kept_rows.json beside this file, which is part of the
repository; --kept prints what is in it.  Rows of two engines are never counted together: before runs are added, some of
them and some of those in the file are run again, and every wrong one, and have to come out as they did.

Each run rewires a simulated chain at random and lets a simulated person answer, with mistakes.  An action is one picture
or one light with its whole answer; what every new pixel needs anyhow, its one naming, is counted beside it.  A map is
wrong when any number is seen elsewhere than it says; maps that no answer can tell apart count as one.
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path

import numpy as np

from probe.inference.keystroke import Operator, klm_seconds
from probe.recheck.engine import Look, Options, Probe, Recheck
from probe.recheck.engine.model import NEW, PLAIN, Action, AllAsShown, Answer, AtNewPlace, Prior
from tests.recheck.engine.worlds import TINTS, Chain, Person, insert, rewired

GUARD = 500
KEPT = Path(__file__).parent / "recheck" / "kept_rows.json"
CHECKED = 12
"""So many runs of those added at a time, spread evenly, are checked; of a row in the file so many can be checked again."""
BINS = (0.0, 0.5, 0.9, 0.99, 0.9995, 1.01)
"""Edges of what is stated, in the diagram."""
SCAN_SECONDS, TURN_SECONDS = 0.2, 4.0
"""Assumed, no source: one fixation for each place of a look, and turning from the playfield to a screen two metres away
for each answer.  The Keystroke-Level Model has no operators for them."""
CONFIRM = klm_seconds([Operator.THINK, Operator.KEY])
"""Mental preparation and one key: 1.55 s."""
PICK_PLACE = klm_seconds([Operator.THINK, Operator.THINK] + [Operator.KEY] * 4)
"""Decide it is another place, recall its name, three letters and Enter."""
PICK_COLOUR = CONFIRM


@dataclass(frozen=True, kw_only=True)
class Case:
    """One row of the table.  sizes: runs spliced in; kinds: further edits; the goals are the means that are asked for."""

    key: str
    title: str
    most_actions: float
    most_wrong: float
    count: int = 108
    sizes: tuple[int, ...] = ()
    kinds: tuple[str, ...] = ()
    hidden: bool = False
    other: int = 0
    tinted: bool = False
    named: int = 1
    wrong: float = 0.005
    unsure: float = 0.0
    tires: float = 0.0
    any: bool = False
    expected: bool = False


ANY = ("insert", "remove", "swap", "replaced", "reverse", "move", "exchange", "dead", "stop", "further")
ROW_2 = (2, 3, 1)
CASES = (
    Case(key="none", title="nothing changed", most_actions=2.2, most_wrong=0.001),
    Case(
        key="six",
        title="six new in three runs, one out",
        sizes=ROW_2,
        kinds=("remove",),
        most_actions=8.5,
        most_wrong=0.001,
    ),
    Case(
        key="six3",
        title="the same, up to three places an answer",
        sizes=ROW_2,
        kinds=("remove",),
        named=3,
        most_actions=7.0,
        most_wrong=0.001,
    ),
    Case(
        key="long",
        title="the same at N = 1,000",
        count=1000,
        sizes=ROW_2,
        kinds=("remove",),
        most_actions=12.0,
        most_wrong=0.003,
    ),
    Case(key="three", title="three sites", kinds=("insert", "remove", "insert"), most_actions=8.5, most_wrong=0.001),
    Case(
        key="three3",
        title="three sites, up to three places an answer",
        kinds=("insert", "remove", "insert"),
        named=3,
        most_actions=6.5,
        most_wrong=0.001,
    ),
    Case(key="plugs", title="two runs exchanged", kinds=("exchange",), most_actions=8.0, most_wrong=0.001),
    Case(key="half", title="half of the chain reversed", kinds=("half",), most_actions=7.0, most_wrong=0.001),
    Case(key="dead", title="one pixel dead, passing data", kinds=("dead",), most_actions=5.0, most_wrong=0.001),
    Case(key="stop", title="data stop at a pixel", kinds=("stop",), most_actions=8.0, most_wrong=0.001),
    Case(
        key="further", title="further pixels in caps", kinds=("further", "further"), most_actions=12.0, most_wrong=0.001
    ),
    Case(key="hidden", title="repeater or hidden", kinds=("repeater",), hidden=True, most_actions=10.0, most_wrong=0.0),
    Case(key="ends", title="ends or outputs exchanged", kinds=("other",), other=60, most_actions=8.0, most_wrong=0.001),
    Case(
        key="tinted",
        title="half of the inserts tinted, edits as in row 2",
        sizes=ROW_2,
        kinds=("remove",),
        tinted=True,
        most_actions=9.5,
        most_wrong=0.001,
    ),
    Case(
        key="errs",
        title="person errs 5 %, unsure 5 %, tires",
        sizes=ROW_2,
        kinds=("remove",),
        wrong=0.05,
        unsure=0.05,
        tires=0.02,
        most_actions=11.0,
        most_wrong=0.003,
    ),
    *(
        Case(key=key, title=f"{title}, N = 1,000", count=1000, kinds=(kind,), most_actions=12.0, most_wrong=0.003)
        for key, title, kind in (
            ("plugs1000", "two runs exchanged", "exchange"),
            ("move1000", "a run moved", "move"),
        )
    ),
    Case(key="swap", title="two pixels swapped", kinds=("swap",), most_actions=math.inf, most_wrong=1.0),
    Case(key="move", title="a run moved", kinds=("move",), most_actions=math.inf, most_wrong=1.0),
    Case(key="any", title="one to three edits of any kind", any=True, most_actions=math.inf, most_wrong=1.0),
    Case(key="prior", title="as the engine expects", expected=True, most_actions=math.inf, most_wrong=1.0),
    Case(
        key="any5",
        title="the same, person errs 5 %",
        any=True,
        wrong=0.05,
        most_actions=math.inf,
        most_wrong=1.0,
    ),
)


@dataclass(frozen=True, kw_only=True)
class Run:
    """One run as it is kept. seconds: of the person; choose, answer: the most milliseconds of processor time."""

    case: str
    seed: int
    actions: int
    right: bool
    stated: float
    seconds: float
    choose: float
    answer: float
    edits: list[str]


@dataclass
class Tally:
    """Runs of one case that were just run. choose, answer: seconds of processor time of each action."""

    runs: list[Run] = field(default_factory=list)
    choose: list[float] = field(default_factory=list)
    answer: list[float] = field(default_factory=list)

    @property
    def wrong(self) -> list[int]:
        """Seeds of the runs that ended with a wrong map."""
        return [one.seed for one in self.runs if not one.right]

    @property
    def actions(self) -> list[int]:
        """Actions of every run."""
        return [one.actions for one in self.runs]


@dataclass(frozen=True, kw_only=True)
class Row:
    """What the runs of one case came to, as it is in the file.

    seeds: first and last of every span.  actions: how many runs took so many.  wrong: seed, actions, stated and edits of
    every run that ended with a wrong map.  stated: runs, the sum of what they stated, and how many were right, for each of the BINS.
    seconds: of the persons, all together.  checked: seed, actions, stated, right of the runs that can be run again.
    """

    seeds: list[list[int]] = field(default_factory=list)
    actions: dict[str, int] = field(default_factory=dict)
    wrong: list[tuple[int, int, float, list[str]]] = field(default_factory=list)
    stated: list[list[float]] = field(default_factory=lambda: [[0, 0.0, 0] for _ in BINS[1:]])
    seconds: float = 0.0
    checked: list[tuple[int, int, float, bool]] = field(default_factory=list)

    def with_runs(self, runs: Sequence[Run]) -> Row:
        """With more runs.  Raises ValueError for a seed that was counted before."""
        seeds = [seed for a, b in self.seeds for seed in range(a, b + 1)] + [one.seed for one in runs]
        if twice := [seed for seed, times in Counter(seeds).items() if times > 1]:
            raise ValueError(f"seed {min(twice)} of {runs[0].case!r} was counted before; take other seeds")
        stated = [list(one) for one in self.stated]
        for one in runs:
            at = sum(one.stated >= edge for edge in BINS[1:-1])
            stated[at] = [stated[at][0] + 1, round(stated[at][1] + one.stated, 6), stated[at][2] + one.right]
        some = sorted(runs, key=lambda one: one.seed)[:: max(1, len(runs) // CHECKED)][:CHECKED]
        counts = Counter({int(k): n for k, n in self.actions.items()}) + Counter(one.actions for one in runs)
        return Row(
            seeds=[[a, b] for a, b in spans(seeds)],
            actions={str(k): counts[k] for k in sorted(counts)},
            wrong=[*self.wrong, *((r.seed, r.actions, round(r.stated, 6), r.edits) for r in runs if not r.right)],
            stated=stated,
            seconds=round(self.seconds + sum(one.seconds for one in runs), 1),
            checked=[*self.checked, *((r.seed, r.actions, round(r.stated, 6), r.right) for r in some)],
        )


def expected_kinds(prior: Prior) -> dict[str, float]:
    """The share of every kind of edit that the engine expects within one chain: its calibration is for such a mixture."""
    seen = {
        "insert": prior.insertion * (1 - prior.further - prior.silent),
        "further": prior.insertion * prior.further,
        "repeater": prior.insertion * prior.silent,
        "remove": prior.removal,
        "replaced": prior.replaced,
        "swap": prior.swapped,
        "move": prior.moved,
        "exchange": prior.exchanged,
        "reverse": prior.reversed,
        "dead": prior.dead,
        "stop": prior.stops,
    }
    return {kind: share / sum(seen.values()) for kind, share in seen.items()}


def make_chain(case: Case, rng: np.random.Generator) -> Chain:
    """A rewired chain of this case."""
    hidden: frozenset[int] = frozenset()
    if case.hidden:
        at = int(rng.integers(5, case.count - 8))
        hidden = frozenset({at, at + 1, int(rng.integers(case.count))})
    chain = Chain(case.count, other_count=case.other, hidden=hidden)
    if case.tinted:
        names = list(TINTS)
        some = [names[int(rng.integers(4))] if rng.random() < 0.5 else "" for _ in range(chain.known)]
        chain.words = tuple(TINTS[name] if name else PLAIN for name in some)
    for size in case.sizes:
        insert(chain, rng, size)
    kinds = tuple(rng.choice(ANY, size=int(rng.integers(1, 4))).tolist()) if case.any else case.kinds
    if case.expected:
        shares = expected_kinds(Prior())
        count = int(rng.geometric(1 - Prior().another)) - 1
        kinds = tuple(rng.choice(list(shares), size=count, p=list(shares.values())).tolist())
    return rewired(chain, kinds, rng)


def human_seconds(action: Action, answer: Answer) -> float:
    """Keystroke-Level time of one answer, in seconds, naming left out."""
    if isinstance(action, Look):
        if isinstance(answer, AllAsShown):
            return TURN_SECONDS + len(action.places) * SCAN_SECONDS + CONFIRM
        return TURN_SECONDS + 0.5 * len(action.places) * SCAN_SECONDS + PICK_PLACE + PICK_COLOUR
    return TURN_SECONDS + (CONFIRM if isinstance(answer, AtNewPlace) else PICK_PLACE)


def run_one(case: Case, seed: int, tally: Tally) -> Run:
    """One recheck with the engine."""
    before = len(tally.choose)
    rng = np.random.default_rng([seed, case.count, *case.key.encode()])
    chain = make_chain(case, rng)
    person = Person(chain, rng, wrong=case.wrong, unsure=case.unsure, tires=case.tires, named=case.named)
    state = Recheck.start(chain.setup(), Options(seed=seed))
    truth = chain.truth()
    named: set[int] = set()
    actions, seconds = 0, 0.0
    while actions < GUARD:
        began = time.process_time()
        action = state.next_step().action
        tally.choose.append(time.process_time() - began)
        if action is None:
            break
        answer = person.answer(action)
        actions += 1
        if isinstance(action, Probe) and action.number < len(truth) and truth[action.number] == NEW:
            named.add(action.number)
        seconds += human_seconds(action, answer)
        began = time.process_time()
        state = state.answered(action, answer)
        tally.answer.append(time.process_time() - began)
    spots = state.world.spots(state.best_map[None, :])[0].tolist()
    found = [None if x == -2 else chain.known if x == NEW else x for x in spots]
    while found and found[-1] is None:
        found.pop()
    tally.runs.append(
        Run(
            case=case.key,
            seed=seed,
            actions=actions - len(named),
            right=found == chain.visible(),
            stated=state.confidence,
            seconds=seconds,
            choose=1e3 * max(tally.choose[before:]),
            answer=1e3 * max(tally.answer[before:], default=0.0),
            edits=chain.edits,
        )
    )
    return tally.runs[-1]


def _tail(successes: int, runs: int, p: float) -> float:
    """Chance of at least this many successes."""
    logs = [
        math.lgamma(runs + 1)
        - math.lgamma(k + 1)
        - math.lgamma(runs - k + 1)
        + k * math.log(p)
        + (runs - k) * math.log1p(-p)
        for k in range(successes, runs + 1)
    ]
    return sum(math.exp(x) for x in logs)


def interval(wrong: int, runs: int, *, level: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson interval of a share (C. J. Clopper and E. S. Pearson, 1934), by bisection on the binomial tails."""

    def root(k: int, target: float) -> float:
        low, high = 0.0, 1.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if _tail(k, runs, middle) < target else (low, middle)
        return low

    alpha = (1 - level) / 2
    return (root(wrong, alpha) if wrong else 0.0), (root(wrong + 1, 1 - alpha) if wrong < runs else 1.0)


def report(case: Case, row: Row, tally: Tally | None = None) -> bool:
    """Print one row, and how long the engine took where it was just run; whether its goals were met."""
    actions = np.repeat([int(k) for k in row.actions], list(row.actions.values()))
    runs, wrong, mean = len(actions), len(row.wrong), float(np.mean(actions))
    low, high = interval(wrong, runs)
    met = mean <= case.most_actions and wrong / runs <= case.most_wrong
    times = ""
    if tally is not None:
        choose, answer = (np.percentile(some, 99) * 1e3 for some in (tally.choose, tally.answer))
        times = f"choose {choose:.0f} ms, take {answer:.0f} ms (99 %) of processor time   "
    print(
        f"{case.title:<44} {mean:6.2f} ± {np.std(actions) / math.sqrt(runs):.2f} (99 %: "
        f"{np.percentile(actions, 99):.0f}, most {max(actions)}; goal {case.most_actions:g})   wrong {wrong} of {runs}: "
        f"{100 * wrong / runs:.2f} % ({100 * low:.2f}–{100 * high:.2f}; goal {100 * case.most_wrong:g})   "
        f"{row.seconds / runs:.0f} s   {times}"
        f"seeds {', '.join(f'{a}..{b}' for a, b in row.seeds)}{'' if met else '   NOT MET'}",
        flush=True,
    )
    for seed, _, stated, edits in row.wrong[:20]:
        print(f"    wrong: seed {seed}, stated {stated:.5f}: {'; '.join(edits)}", flush=True)
    return met


def spans(seeds: Sequence[int]) -> list[tuple[int, int]]:
    """Seeds as runs of whole numbers."""
    found: list[list[int]] = []
    for seed in sorted(seeds):
        if found and seed == found[-1][1] + 1:
            found[-1][1] = seed
        else:
            found.append([seed, seed])
    return [(a, b) for a, b in found]


def reliability(rows: Sequence[Row]) -> list[str]:
    """The diagram: how often what was stated with a chance was right, by the chance, each with its interval of 95 %.

    What is stated holds for changes that come as often as the engine expects, as the row `prior` draws them: a row of
    one kind alone, such as two pixels swapped, is harder or easier than that.  A bin is as stated when its mean lies in the
    interval of what was right.  Bars are of the share that was wrong, by its logarithm: from one in one (nothing) to one in
    ten thousand (the whole width); = is the share, - its interval.
    """
    width = 40

    def at(wrong: float) -> int:
        return min(width, round(-math.log10(max(wrong, 1e-4)) * width / 4))

    lines = [f"{'stated':<15}{'runs':>6}  {'mean stated':>11}  {'right':>9}  {'95 %':<17}  1 wrong in 1 … 10,000"]
    each = np.sum([row.stated for row in rows], axis=0)
    for low, high, (runs, total, right) in zip(BINS, BINS[1:], each.tolist(), strict=False):
        if runs:
            mean = total / runs
            a, b = interval(round(runs - right), round(runs))
            bar = "=" * at(1 - right / runs) if right < runs else "=" * at(b)
            bar += "-" * max(0, at(a) - len(bar))
            fits = "as stated" if 1 - b <= mean <= 1 - a else "surer than stated" if mean < 1 - b else "LESS SURE"
            share, span = f"{100 * right / runs:.2f} %", f"({100 * (1 - b):.2f}–{100 * (1 - a):.2f})"
            lines.append(
                f"{low:6.4f}–{min(high, 1.0):6.4f}  {runs:>6.0f}  {100 * mean:>9.3f} %  {share:>9}  {span:<17}  "
                f"{bar:<{width}}  {fits}"
            )
    return lines


def runs_of(files: Sequence[str]) -> dict[str, list[Run]]:
    """Runs of files that `--keep` wrote, by case."""
    found: dict[str, list[Run]] = {}
    for file in files:
        for line in Path(file).read_text(encoding="utf-8").splitlines():
            found.setdefault((one := Run(**json.loads(line))).case, []).append(one)
    return found


def kept_rows() -> dict[str, Row]:
    """The rows in the file."""
    return (
        {key: Row(**row) for key, row in json.loads(KEPT.read_text(encoding="utf-8")).items()} if KEPT.exists() else {}
    )


def unlike(rows: Mapping[str, Row]) -> Iterator[str]:
    """Runs of rows, all wrong ones and those to be checked, that do not come out as they are there."""
    for case in CASES:
        row = rows.get(case.key, Row())
        some = [(seed, actions, stated, False) for seed, actions, stated, _ in row.wrong]
        for seed, actions, stated, right in [*row.checked, *some]:
            now = run_one(case, seed, Tally())
            if (now.right, now.actions) != (right, actions) or abs(now.stated - stated) > 1e-4:
                yield (
                    f"{case.key!r}, seed {seed}, is kept with {actions} actions, stated {stated}, "
                    f"{'right' if right else 'wrong'}; now it takes {now.actions}, states {now.stated:.6f} and is "
                    f"{'right' if now.right else 'wrong'}"
                )


def add(files: Sequence[str]) -> dict[str, Row]:
    """Count the runs of files into the file of rows.  Raises ValueError for a seed that was counted before, and where some
    of the runs do not come out as they did: then they, or the rows in the file, are of another engine."""
    rows, more = kept_rows(), runs_of(files)
    for key, runs in more.items():
        rows[key] = rows.get(key, Row()).with_runs(runs)
    if (first := next(unlike({key: rows[key] for key in more}), None)) is not None:
        raise ValueError(
            f"a run of another engine: {first}.  Rows of two engines are not counted together: add what this one ran, or "
            f"remove {KEPT.name} and begin again"
        )
    for row in rows.values():
        row.checked[:] = row.checked[:: -(-len(row.checked) // CHECKED) or 1]
    text = ",\n".join(
        f' "{key}": {{\n'
        + ",\n".join(f'  "{name}": {json.dumps(value)}' for name, value in asdict(rows[key]).items())
        + "\n }"
        for key in (case.key for case in CASES)
        if key in rows
    )
    KEPT.write_text(f"{{\n{text}\n}}\n", encoding="utf-8")
    return rows


def run(argv: Sequence[str]) -> int:
    """Entry for the benchmark runner; returns 0 when every goal was met, else 1."""
    parser = argparse.ArgumentParser(prog="recheck", description="Benchmark of the recheck")
    parser.add_argument("--quick", action="store_true", help="few runs, for a check that it works")
    parser.add_argument("--runs", type=int, default=None, help="runs for each case (1000; quick: 5)")
    parser.add_argument("--seed", type=int, default=1, help="first seed")
    parser.add_argument("--only", default="", help="cases, by comma: " + ", ".join(c.key for c in CASES))
    parser.add_argument(
        "--keep", type=Path, default=None, help="write every run to this file as well, behind what it has"
    )
    parser.add_argument(
        "--add", nargs="+", default=(), help=f"run nothing: count the runs of these files into {KEPT.name}"
    )
    parser.add_argument("--kept", action="store_true", help=f"run nothing: print what is in {KEPT.name}")
    args = parser.parse_args(list(argv))
    runs = args.runs if args.runs is not None else (5 if args.quick else 1000)
    rows = add(args.add) if args.add else kept_rows() if args.kept else {}
    met, shown = True, list[Row]()
    print(f"a look costs {SCAN_SECONDS} s a place (assumed), a key {klm_seconds([Operator.KEY])} s")
    for case in CASES:
        if (args.only and case.key not in args.only.split(",")) or (rows and case.key not in rows):
            continue
        tally = Tally()
        for seed in range(args.seed, args.seed + runs) if not rows else ():
            one = run_one(case, seed, tally)
            if args.keep is not None:
                with args.keep.open("a", encoding="utf-8") as file:
                    file.write(json.dumps(asdict(one)) + "\n")
        shown.append(rows[case.key] if rows else Row().with_runs(tally.runs))
        met &= report(case, shown[-1], None if rows else tally)
    print("\n".join(reliability(shown)))
    return 0 if met else 1


if __name__ == "__main__":
    import sys

    raise SystemExit(run(sys.argv[1:]))
