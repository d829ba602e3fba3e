"""How good the forecast is, on farms whose truth is known: `python benchmarks/prove_forecast.py`.

Writes docs/validation/forecast.md, the tables behind it as CSV beside it, and its pictures to
docs/img. About 10 minutes on two quiet cores; `--farms 40` shortens it, and the page says so. Every
farm has four lots of two varieties and three certificates a lot; see tests/forecast_scores.py for
what is judged, tests/potency_truth.py for how the truth is drawn. Each farm has its own seed, so
the page does not depend on how the work is shared out.
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[name] = "1"

import numpy as np  # noqa: E402
from scipy.stats import chisquare  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests"), str(ROOT / "benchmarks")]

import forecast_pictures as pictures  # noqa: E402

import forecast_scores as scores  # noqa: E402
import potency_truth as truth  # noqa: E402
from forecast_scores import Score  # noqa: E402
from tierpole import potency  # noqa: E402
from tierpole.farm import Stock  # noqa: E402
from tierpole.potency.diagnose import Kind  # noqa: E402
from tierpole.potency.posterior import R_HAT_LIMIT  # noqa: E402

FOLDER, IMAGES = ROOT / "docs" / "validation", ROOT / "docs" / "img"
EFFORT = potency.Effort(chains=128, groups=8, warm_sweeps=10, kept_sweeps=16, most_rounds=3)
FARMS, SEED_FARMS, SOME = 500, 100, 50  # sound farms of clones, of seed; of each other kind
NAMED = {
    Kind.PRIOR: "variety or lot",
    Kind.LABORATORY: "laboratories",
    Kind.CERTIFICATE: "a certificate",
    Kind.CHAINS: "its own chains",
}
LEVELS = (0.5, 0.8, 0.9, 0.95)
EVEN = np.linspace(0.02, 0.98, 49)  # ranks at which shares are compared with an even law
USUAL = potency.PotencyPrior()


def gompertz(days, peak, peak_day, steepest, _fall):  # noqa: ANN001, ANN201
    """Another family of curves for THC: steepest on the same day, and without a fall."""
    middle = steepest * peak_day
    return peak * np.exp(-np.exp(-3.2 * (days - middle) / (peak_day - middle)))


OTHER_TRUTHS = {
    "THC by a Gompertz curve, no fall": truth.Alternative(thc_curve=gompertz),
    "CBD:THC drifts by 0.6 % a day": truth.Alternative(ratio_drift=0.006),
    "laboratories err twice as much": truth.Alternative(laboratory_error=2.0),
    "second variety mislabelled, THC x 1.8": truth.Alternative(mislabelled={1: 1.8}),
    "flowering 9 days late, seen too late": truth.Alternative(late=9.0),
}
OTHER_PRIORS = {
    "all spreads halved": scores.widened(USUAL, 0.5),
    "all spreads doubled": scores.widened(USUAL, 2.0),
    "CBD a quarter higher": replace(USUAL, cbd_plateau=1.25 * USUAL.cbd_plateau),
    "ratio a fifth lower": replace(USUAL, cbd_to_thc=0.8 * USUAL.cbd_to_thc),
    "peak 7 days later": replace(USUAL, peak_day=USUAL.peak_day + 7.0),
}


@dataclass(frozen=True)
class Proof:
    """All scores: of sound farms by stock, of other truths, and of other priors."""

    sound: dict[Stock, list[Score]]
    truths: dict[str, list[Score]]
    priors: dict[str, list[Score]]


def run(farms: int, workers: int | None) -> Proof:
    """Draw, forecast and judge every farm, each process on a core of its own."""
    seeded, some = min(SEED_FARMS, farms), min(SOME, farms)
    with ProcessPoolExecutor(workers) as pool:

        def scored(count: int, **known: Any) -> list[Score]:
            return list(pool.map(partial(scores.score, effort=EFFORT, **known), range(count)))

        clones = scored(farms)
        sound = {Stock.CLONE: clones, Stock.SEED: scored(seeded, stock=Stock.SEED)}
        truths = {name: scored(some, alternative=it) for name, it in OTHER_TRUTHS.items()}
        priors = {name: scored(some, assumed=it) for name, it in OTHER_PRIORS.items()}
    return Proof(
        sound,
        {"as the model has it": clones[:some], **truths},
        {"as assumed": clones[:some], **priors},
    )


# --- tables ---------------------------------------------------------------------------------------

Rows = list[dict[str, Any]]


def stacked(found: Sequence[Score], name: str) -> np.ndarray:
    """One field of every farm's score."""
    return np.stack([getattr(each, name) for each in found])


def coverage(proof: Proof) -> Rows:
    """How often bands of several widths hold the truth."""
    rows = []
    for stock, found in proof.sound.items():
        of_all = np.moveaxis(stacked(found, "rank"), 1, 0)
        for what, ranks in zip(scores.QUANTITIES, of_all, strict=True):
            for level in LEVELS:
                inside = np.abs(ranks - 0.5) < level / 2
                # lots of one farm share laboratories and variety: the farm is the unit
                error = inside.mean(axis=1).std(ddof=1) / np.sqrt(len(found))
                rows.append(
                    {
                        "stock": str(stock),
                        "what": what,
                        "lots": ranks.size,
                        "band": level,
                        "holds the truth": round(float(inside.mean()), 4),
                        "standard error": round(float(error), 4),
                    }
                )
    return rows


def evenness(proof: Proof) -> Rows:
    """Whether ranks of the truth are even, one lot of each farm, for its lots are not alone."""
    rows = []
    for stock, found in proof.sound.items():
        of_first = stacked(found, "rank")[:, :, 0].T
        for what, ranks in zip(scores.QUANTITIES, of_first, strict=True):
            counts = np.histogram(ranks, bins=10, range=(0.0, 1.0))[0]
            stray, reach = scores.stray(ranks, EVEN), scores.reach(ranks.size, EVEN)
            rows.append(
                {
                    "stock": str(stock),
                    "what": what,
                    "farms": ranks.size,
                    "p of chi-squared": round(float(chisquare(counts).pvalue), 3),
                    "furthest from even, of the band": round(float(max(abs(stray) / reach)), 2),
                    **{f"rank {k / 10:.1f} on": int(n) for k, n in enumerate(counts)},
                }
            )
    return rows


def skill(proof: Proof) -> Rows:
    """Brier score and sharpness of P(pass), beside simpler ways to guess."""
    rows = []
    for stock, found in proof.sound.items():
        passed = stacked(found, "passed")
        guess = scores.with_base_rates(stacked(found, "guess"), passed)
        said = {
            "this forecast": stacked(found, "p_pass"),
            "the same before any test": stacked(found, "p_before"),
            **{name: guess[:, place] for place, name in enumerate(scores.BASELINES)},
        }
        for name, chance in said.items():
            rows.append(
                {
                    "stock": str(stock),
                    "guess": name,
                    "samples": passed.size,
                    "Brier score": round(scores.brier(chance, passed), 4),
                    "sharpness (variance of what was said)": round(float(chance.var()), 4),
                    "said below 10 % or above 90 %": round(float(sure(chance).mean()), 3),
                    "of those wrong": round(wrong(chance, passed), 3),
                }
            )
    return rows


def sure(chance: np.ndarray) -> np.ndarray:
    """Where a guess leaves little doubt."""
    return (chance < 0.1) | (chance > 0.9)


def wrong(chance: np.ndarray, passed: np.ndarray) -> float:
    """Share of guesses with little doubt that came out the other way."""
    certain = sure(chance)
    return float(np.mean((chance > 0.5)[certain] != passed[certain])) if certain.any() else 0.0


def reliability(proof: Proof) -> Rows:
    """What came of samples that were given about the same chance."""
    rows = []
    edges = np.linspace(0.0, 1.0, 11)
    for stock, found in proof.sound.items():
        chance, passed = stacked(found, "p_pass"), stacked(found, "passed")
        for low, high in pairwise(edges):
            here = (chance >= low) & ((chance < high) | (high == 1.0))
            if here.sum() >= 20:
                farms = here.any(axis=(1, 2)).sum()
                share = passed[here].mean()
                rows.append(
                    {
                        "stock": str(stock),
                        "said, mean": round(float(chance[here].mean()), 3),
                        "passed": round(float(share), 3),
                        "standard error": round(float(np.sqrt(share * (1 - share) / farms)), 3),
                        "samples": int(here.sum()),
                    }
                )
    return rows


def robustness(found: dict[str, list[Score]]) -> Rows:
    """How wrong it gets when the truth, or what is assumed, is another; and whether it says so."""
    base = next(iter(found.values()))
    rows = []
    for name, each in found.items():
        miss, passed = stacked(each, "miss"), stacked(each, "passed")
        chance, ranks = stacked(each, "p_pass"), stacked(each, "rank")[:, 0]
        moved = np.abs(chance - stacked(base, "p_pass")).mean()
        rows.append(
            {
                "case": name,
                "farms": len(each),
                "THC too high by": f"{np.exp(miss.mean()) - 1:+.1%}",
                "usual miss": f"{np.sqrt((miss**2).mean()):.1%}",
                "90 % band holds": round(float((np.abs(ranks - 0.5) < 0.45).mean()), 3),
                "band's width": f"{np.exp(stacked(each, 'width').mean()):.2f} x",
                "Brier score": round(scores.brier(chance, passed), 4),
                "P(pass) moved": round(float(moved), 3),
                "says not reliable": f"{np.mean([not s.diagnosis.is_reliable for s in each]):.0%}",
                **{f"names {word}": speaks_of(each, kind) for kind, word in NAMED.items()},
            }
        )
    return rows


def speaks_of(found: Sequence[Score], kind: Kind) -> str:
    """Share of farms told of something of a kind."""
    told = [any(each.kind is kind for each in score.diagnosis.findings) for score in found]
    return f"{np.mean(told):.0%}"


# --- the page -------------------------------------------------------------------------------------

PAGE = """# How good the forecast is

Made by `benchmarks/prove_forecast.py` with {clones} farms of clones, {seeded} of seed and {others}
of each other kind; not written by hand. The farms are invented: their truth is drawn from stated
laws, their certificates plant by plant. So this page shows that the forecast knows what it does not
know, not that those laws are the ones of a real field; what the curves are held to stands in
[validation.md](../validation.md).

Every farm has four lots of two varieties, and of each lot three certificates of two laboratories,
20 to 34 days after the usual day of flowering. Bands are judged 12 days after the last certificate;
P(pass) on official samples of three plants by a third laboratory, 36 to 56 days after flowering,
with an allowance of 0.04 %. Largest R-hat in any of the {runs} sound runs: {r_hat:.3f}; {agree} of
them agree to 1.01, the others say that they do not. All tables are beside this page as CSV.

## Do the bands hold the truth?

A band of 90 % should hold it nine times in ten. Lots of one farm share laboratories and varieties,
so the standard error counts farms.

{coverage}

Ranks of the truth among the draws are even if the forecast is calibrated: a hump would mean bands
too wide, a bowl too narrow, a slope too high or too low. One lot of each farm is ranked. Grey is
what chance leaves: on the left 95 of 100 bars, on the right 95 of 100 whole lines. The last column
of the table is how much of that band the line used; above 1 it left it.

![Rank of the true THC](../img/forecast-ranks.svg)

{evenness}

## Does P(pass) mean what it says?

Of samples given about the same chance, about that share should pass. The error bars count farms.

![What came of what was said](../img/forecast-reliability.svg)

A forecast that always names the usual share is calibrated too, and of no use. The Brier score (the
mean square of what was said less what came: 0 is perfect) asks for both, calibration and sharpness.
*Last test* and *straight line* carry the certificates on, *fixed ratio* the last CBD along the
usual curve, over the usual CBD:THC; these three are given the true error of a result. *Fixed
crossing day* says how often lots of all the other farms passed before and after day 50.

![Brier scores](../img/forecast-skill.svg)

{skill}

## When the truth is another

The forecast is not told. *Usual miss* is the root mean square of the log of THC, the *width* of a
band its upper end over its lower, and it should hold 0.9. The last columns say what the diagnosis
told the farmer: a forecast that is wrong and says nothing is the worst of all.

{truths}

Another curve hurts most: how THC goes on after the last certificate cannot be seen before it comes.
A mislabelled variety and late flowering are more often than not within what varieties and seasons
may do: certificates pull such a forecast most of the way before they look odd, and bands lose some
of their hold. Laboratories that err twice as much are seldom noticed from twelve certificates.

## When the farm assumes something else

The same truths, with another prior: how far P(pass) moves, and whether bands still hold.

{priors}
"""


def page(proof: Proof, tables: dict[str, Rows]) -> str:
    """The page, from the numbers of this run."""
    shown = {name: "\n".join(markdown(rows)) for name, rows in tables.items()}
    shown["evenness"] = "\n".join(markdown([without(row, "rank ") for row in tables["evenness"]]))
    shown["truths"] = "\n".join(markdown([without(row, "P(pass)") for row in tables["truths"]]))
    sound = [score for found in proof.sound.values() for score in found]
    r_hat = np.array([score.diagnosis.r_hat for score in sound])
    return PAGE.format(
        clones=len(proof.sound[Stock.CLONE]),
        seeded=len(proof.sound[Stock.SEED]),
        others=len(next(iter(proof.truths.values()))),
        runs=r_hat.size,
        r_hat=r_hat.max(),
        agree=int((r_hat <= R_HAT_LIMIT).sum()),
        **shown,
    )


def without(row: dict[str, Any], start: str) -> dict[str, Any]:
    """A row less its cells under headings that start so."""
    return {key: value for key, value in row.items() if not key.startswith(start)}


def markdown(rows: Rows) -> Iterable[str]:
    """Rows as a table."""
    yield "| " + " | ".join(rows[0]) + " |"
    yield "|" + "---|" * len(rows[0])
    for row in rows:
        yield "| " + " | ".join(map(str, row.values())) + " |"


def write_csv(name: str, rows: Rows) -> None:
    """One table beside the page."""
    with (FOLDER / f"forecast-{name}.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def main() -> None:
    """Run, then write."""
    arguments = argparse.ArgumentParser(description=__doc__)
    arguments.add_argument("--farms", type=int, default=FARMS, help="sound farms of clones")
    arguments.add_argument("--workers", type=int, help="processes at once, all cores if not said")
    given = arguments.parse_args()
    write(run(given.farms, given.workers))


def write(proof: Proof) -> None:
    """The page, its tables and its pictures."""
    tables = {
        "coverage": coverage(proof),
        "evenness": evenness(proof),
        "skill": skill(proof),
        "reliability": reliability(proof),
        "truths": robustness(proof.truths),
        "priors": robustness(proof.priors),
    }
    for folder in (FOLDER, IMAGES):
        folder.mkdir(parents=True, exist_ok=True)
    for name, rows in tables.items():
        write_csv(name, rows)
    ranks = {str(stock): stacked(found, "rank")[:, 0, 0] for stock, found in proof.sound.items()}
    pictures.ranks(ranks, IMAGES / "forecast-ranks.svg")
    pictures.reliability(tables["reliability"], IMAGES / "forecast-reliability.svg")
    pictures.skill(tables["skill"], IMAGES / "forecast-skill.svg")
    (FOLDER / "forecast.md").write_text(page(proof, tables), encoding="utf-8")
    print(f"written: {(FOLDER / 'forecast.md').relative_to(ROOT)}")


if __name__ == "__main__":
    main()
