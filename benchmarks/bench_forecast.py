"""How fast the forecast is, and how near to a long run: `python benchmarks/bench_forecast.py`.

Timed, in a fresh process each: the update of 12 lots of 4 varieties by 5 certificates each, first
with everything still to be imported and once more warm; one more certificate on top; 200 lots of 8
varieties by 5 certificates each, with its peak memory. Beside them NUTS of NumPyro on the same 12
lots, 4 chains of 500 after 500, first with its compiling and once more without.

Not timed: drawing the farms, and the reference run, which is the same sampler with 10 times the
states. Nearness is the difference in P(pass) at MU 0.04 %, lot by lot on 9 days from 25 to 65 days
after the usual flower day, asked to be 0.005 on average and 0.03 at most; NUTS is held to the same
reference. Seconds of the processor are given beside seconds of the clock: what differs is other
work on the machine.
"""

from __future__ import annotations

import json
import os
import platform
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

START = time.perf_counter(), time.process_time()

import numpy as np  # noqa: E402
import scipy  # noqa: E402
from scipy.special import stdtr  # noqa: E402

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT / "src"), str(ROOT / "tests")]

import potency_truth as truth  # noqa: E402
from tierpole import potency  # noqa: E402
from tierpole.potency.posterior import Posterior  # noqa: E402

SEED, DRAWS = 1, 1000
SMALL, LARGE = (12, 4), (200, 8)
SEEN = np.linspace(25.0, 65.0, 9)
ROOM, SPREAD, TAIL = np.log(0.0034), 0.136, 5.0  # what passes, and the error of a result
CERTIFICATES = ((18.0, "north"), (24.0, "south"), (30.0, "north"), (36.0, "south"), (42.0, "north"))
LONG = {
    SMALL: potency.Effort(chains=512, kept_sweeps=120, most_rounds=1),
    LARGE: potency.Effort(chains=256, warm_sweeps=30, kept_sweeps=150, most_rounds=1),
}


def farm(size: tuple[int, int]) -> truth.Farm:
    """So many lots of so many varieties, five certificates each from two laboratories."""
    lots, varieties = size
    planned = tuple(
        truth.Planned(lot, tau, laboratory=name)
        for lot in range(lots)
        for tau, name in CERTIFICATES
    )
    variety = tuple(sorted(lot % varieties for lot in range(lots)))
    return truth.draw_farm(np.random.default_rng(SEED), variety, planned, draws=DRAWS)


def p_pass(log_thc: np.ndarray) -> np.ndarray:
    """Chance to pass, averaged over draws on the first axis."""
    stretched = (ROOM - log_thc) / SPREAD * np.sqrt(TAIL / (TAIL - 2.0))
    return stdtr(TAIL, stretched).mean(axis=0)


def of_draws(made: truth.Farm, updated: potency.Updated) -> np.ndarray:
    """P(pass) [lot, day] of the season's draws, as the pages show it."""
    curves = updated.draws.curves
    days = [np.array([made.usual_day(lot, tau) for lot in range(len(made.lots))]) for tau in SEEN]
    thc = np.stack([curves.thc(day - updated.flower_day) for day in days], axis=-1)
    return p_pass(np.log(np.maximum(thc, 1e-9)))


def of_pool(made: truth.Farm, posterior: Posterior) -> np.ndarray:
    """P(pass) [lot, day] of all states of a pool."""
    state = posterior.pool.state
    curves = potency.Curves.of(np.moveaxis(posterior.model.normal(state), 1, -1))
    flower = posterior.model.flower_day(state)
    usual = np.array([made.usual_day(lot, 0.0) for lot in posterior.problem.lots])[:, None]
    found = [p_pass(np.log(np.maximum(curves.thc(usual + tau - flower), 1e-9)).T) for tau in SEEN]
    order = np.argsort(posterior.problem.lots)
    return np.stack(found, axis=-1)[order]


# --- what runs in a process of its own ----------------------------------------------------------


def timed(work: Callable[[], Any]) -> tuple[Any, dict[str, float]]:
    """What work returns, and its seconds by clock and processor."""
    clock, processor = time.perf_counter(), time.process_time()
    result = work()
    return result, {
        "clock": time.perf_counter() - clock,
        "processor": time.process_time() - processor,
    }


def run(made: truth.Farm, tests: tuple[potency.PotencyTest, ...], **known: Any) -> potency.Updated:
    """One update of a farm."""
    rng = np.random.default_rng(SEED + 1)
    return potency.update(made.draws, made.flower_day, tests, rng, **known)


def ours(size: tuple[int, int]) -> dict[str, Any]:
    """Times of the forecast, what it says, and whether its chains agree."""
    imports = {
        "clock": time.perf_counter() - START[0],
        "processor": time.process_time() - START[1],
    }
    made = farm(size)
    updated, first = timed(lambda: run(made, made.tests))
    report: dict[str, Any] = {
        "cold": {key: first[key] + imports[key] for key in first},
        "memory": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000,
    }
    if size == SMALL:
        updated, report["warm"] = timed(lambda: run(made, made.tests))
        earlier = run(made, made.tests[:-1]).posterior
        more, report["one more"] = timed(lambda: run(made, made.tests, earlier=earlier))
        assert more.posterior is not None
        report["moved on"] = more.posterior.is_moved_on
        report["pass after one more"] = of_draws(made, more).tolist()
    assert updated.posterior is not None
    convergence = updated.posterior.convergence
    report["r_hat"] = float(convergence.r_hat.max())
    report["effective"] = float(convergence.effective.min())
    report["pass of draws"] = of_draws(made, updated).tolist()
    report["pass of pool"] = of_pool(made, updated.posterior).tolist()
    return report


def reference(size: tuple[int, int]) -> dict[str, Any]:
    """P(pass) by the long run."""
    made = farm(size)
    posterior = run(made, made.tests, effort=LONG[size]).posterior
    assert posterior is not None
    return {
        "pass": of_pool(made, posterior).tolist(),
        "r_hat": float(posterior.convergence.r_hat.max()),
        "states": int(posterior.pool.number),
    }


def nuts(size: tuple[int, int]) -> dict[str, Any]:
    """Times of NUTS with and without compiling, and its P(pass)."""
    import jax  # noqa: PLC0415
    import numpyro  # noqa: PLC0415

    import potency_nuts_model  # noqa: PLC0415

    made = farm(size)
    kernel = numpyro.infer.NUTS(partial(potency_nuts_model.model, made, SEEN))
    sampler = numpyro.infer.MCMC(
        kernel, num_warmup=500, num_samples=500, num_chains=4,
        chain_method="vectorized", progress_bar=False,
    )  # fmt: skip
    _, compiling = timed(lambda: jax.block_until_ready(sampler.run(jax.random.PRNGKey(1))))
    thc = np.asarray(sampler.get_samples()["thc"], float)
    # a thousand steps of four chains again, from a function compiled once and called twice
    alone = numpyro.infer.NUTS(kernel.model)
    keys = jax.random.split(jax.random.PRNGKey(2), 4)
    starts = [alone.init(key, 500, None, (), {}) for key in keys]
    state = jax.tree_util.tree_map(lambda *parts: jax.numpy.stack(parts), *starts)
    step = jax.vmap(lambda at: alone.sample(at, (), {}))
    again = jax.jit(lambda at: jax.lax.fori_loop(0, 1000, lambda _, now: step(now), at))
    jax.block_until_ready(again(state))
    _, compiled = timed(lambda: jax.block_until_ready(again(state)))
    return {
        "with compiling": compiling,
        "without": compiled,
        "pass": p_pass(thc).tolist(),
        "version": f"NumPyro {numpyro.__version__}, JAX {jax.__version__}",
    }


PARTS = {"ours": ours, "reference": reference, "nuts": nuts}


def in_fresh_process(part: str, size: tuple[int, int]) -> dict[str, Any]:
    """A part's report, made where nothing has been loaded before, on one core."""
    one_core = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "JAX_PLATFORMS": "cpu"}
    out = subprocess.run(
        [sys.executable, __file__, part, *map(str, size)],
        check=True, capture_output=True, text=True, env={**os.environ, **one_core},
    )  # fmt: skip
    return json.loads(out.stdout.splitlines()[-1])


# --- the report ---------------------------------------------------------------------------------


def report() -> None:
    """Run all and print."""
    print(machine())
    small, long_small = in_fresh_process("ours", SMALL), in_fresh_process("reference", SMALL)
    print(f"12 lots x 5 certificates, 4 varieties, {DRAWS:,} draws, seed {SEED}")
    seconds("in a cold process, with imports", small["cold"], asked=8.0)
    seconds("warm", small["warm"], asked=5.0)
    seconds(f"one more certificate (moved on: {small['moved on']})", small["one more"], asked=1.5)
    agreement(small, long_small)
    near("  one more certificate", small["pass after one more"], long_small["pass"])
    theirs = in_fresh_process("nuts", SMALL)
    print(f"NUTS on the same, 4 chains x (500 + 500), {theirs['version']}")
    for name in ("with compiling", "without"):
        seconds(name, theirs[name])
        ratio = theirs[name]["processor"] / small["warm"]["processor"]
        print(f"  {'that over ours, warm, by processor':48}{ratio:10.1f}")
    near("  NUTS", theirs["pass"], long_small["pass"])
    large, long_large = in_fresh_process("ours", LARGE), in_fresh_process("reference", LARGE)
    print("200 lots x 5 certificates, 8 varieties")
    seconds("in a cold process, with imports", large["cold"], asked=60.0)
    print(f"  {'peak memory':48}{large['memory']:10,.0f} MB, asked 1,000 MB")
    agreement(large, long_large)


def agreement(found: dict[str, Any], long: dict[str, Any]) -> None:
    """How near the chains are to one another and to the long run."""
    print(f"  {'largest R-hat over groups of chains':48}{found['r_hat']:10.4f}, asked 1.01")
    print(f"  {'fewest effective draws':48}{found['effective']:10,.0f}")
    print(f"  reference: {long['states']:,} states, R-hat {long['r_hat']:.4f}")
    near("  the season's draws", found["pass of draws"], long["pass"])
    near("  all states kept", found["pass of pool"], long["pass"])


def near(name: str, found: list[list[float]], exact: list[list[float]]) -> None:
    """Differences in P(pass), over all lots and days and where it is in doubt."""
    miss, sure = np.abs(np.array(found) - np.array(exact)), np.array(exact)
    doubt = (sure > 0.05) & (sure < 0.95)
    print(
        f"{name + ', P(pass) against it':50}{miss.mean():10.4f} mean {miss.max():.4f} largest; "
        f"{miss[doubt].mean():.4f} mean of the {doubt.sum()} of {doubt.size} in doubt"
    )


def seconds(name: str, took: dict[str, float], asked: float | None = None) -> None:
    """One line of time, with what is asked of it."""
    line = f"  {name:48}{took['clock']:10.2f} s, of the processor {took['processor']:.2f} s"
    print(line if asked is None else f"{line}, asked {asked:g} s")


def machine() -> str:
    """What the numbers were measured on, and with."""
    load = f"load {os.getloadavg()[0]:.1f}"
    where = f"{platform.machine()}, {os.cpu_count()} cores, {load}; Python"
    return f"{where} {platform.python_version()}, NumPy {np.__version__}, SciPy {scipy.__version__}"


if __name__ == "__main__":
    if len(sys.argv) > 1:
        part, lots, varieties = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
        print(json.dumps(PARTS[part]((lots, varieties))))
    else:
        report()
