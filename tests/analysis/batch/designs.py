"""Layouts of the batch tests, each with random SDs in the order of its random columns."""

import numpy as np

from kit.analysis.batch.layout import lay_out

CYCLIC = np.array([0, 1, 2, 4])  # difference set: a balanced incomplete block design (7,7,4,4,2)


def complete(methods, blocks, sessions):
    method = np.tile(np.arange(methods), blocks)
    block = np.repeat(np.arange(blocks), methods)
    if sessions == 1:
        return lay_out(method, {"block": block})
    return lay_out(method, {"session": block // (blocks // sessions), "block": block})


def incomplete():
    method = np.tile((CYCLIC[None] + np.arange(7)[:, None]).ravel() % 7, 2)
    bag = np.repeat(np.arange(14), 4)
    return lay_out(method, {"session": bag // 7, "bag": bag})


def crossed_tasters():
    """4 methods by 6 tasters, twice, half a table at a time: taster, taster by method, half."""
    method = np.tile(np.arange(4), 12)
    taster = np.tile(np.repeat(np.arange(6), 4), 2)
    half = np.repeat(np.arange(12), 4) % 4
    return lay_out(method, {"taster": taster, "cell": 10 * taster + method, "half": half})


def crossed_rounds():
    """5 methods, 10 tasters, 5 rounds: taster and round random and truly crossed."""
    taster, round_ = np.divmod(np.arange(50), 5)
    return lay_out((taster + 2 * round_) % 5, {"taster": taster, "round": round_})


def split_plot():
    """2 x 2: a factor that changes by half-session (whole plot), one within; 6 days."""
    day = np.repeat(np.arange(6), 8)
    plot = np.repeat(np.arange(12), 4)
    whole = plot % 2
    within = np.tile([0, 1], 24)
    return lay_out(2 * whole + within, {"day": day, "plot": plot})


def method_by_session():
    """Session, block and method-by-session cell: two columns nested in one, crossed together."""
    method = np.tile(np.arange(3), 12)
    block = np.repeat(np.arange(12), 3)
    session = block // 4
    return lay_out(method, {"session": session, "cell": 10 * session + method, "block": block})


def latin_positions():
    """4 x 4 Latin square three times: block random, position adjusted for."""
    block, position = np.divmod(np.arange(48), 4)
    method = (position + block) % 4
    indicator = (position[:, None] == np.arange(1, 4)).astype(float)
    return lay_out(method, {"block": block}, adjust=indicator)


DESIGNS = {
    "complete_5x12": (complete(5, 12, 3), (0.30, 0.20)),
    "complete_3x4": (complete(3, 4, 2), (0.30, 0.10)),
    "blocks_only_4x6": (complete(4, 6, 1), (0.25,)),
    "incomplete": (incomplete(), (0.20, 0.35)),
    "crossed_tasters": (crossed_tasters(), (0.60, 0.30, 0.20)),
    "crossed_rounds": (crossed_rounds(), (0.50, 0.30)),
    "split_plot": (split_plot(), (0.30, 0.25)),
    "method_by_session": (method_by_session(), (0.30, 0.20, 0.15)),
    "latin_positions": (latin_positions(), (0.30,)),
}


def simulated(name, trials, seed, loss=0.1, residual=0.45, centre=20.0):
    layout, sds = DESIGNS[name]
    rng = np.random.default_rng(seed)
    y = centre + residual * rng.standard_normal((layout.n_shots, trials))
    for codes, sd in zip(layout.codes, sds, strict=True):
        y += (sd * rng.standard_normal((codes.max() + 1, trials)))[codes]
    return layout, y, rng.random(y.shape) >= loss
