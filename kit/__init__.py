"""fairpull: fair head-to-head comparisons of espresso preparation methods.

The modules in the order of the work::

    codebook, errors, numerals, files   the columns, the messages, reading numbers, safe writing
    extraction                          brew ratio and extraction yield, with uncertainty
    trial                               the question and everything decided before the first shot
    design, schedule                    a fair layout, and its run order from a recorded seed
    shotlog, deviations                 what was done: journal, tables, planned against done
    analysis                            estimates, intervals, tests on a plain table
    planning                            what this many shots can tell, by the same analysis
    figures, findings                   pictures; verdicts and sentences
    report, bundle                      one page to publish; one package to reproduce
    widgets, cli                        notebooks and the command line

Imports run down this list, never up (``tests/test_layers.py`` enforces it). Planning comes
early in the work but late in the list, because a simulated trial is analysed by the very code
that will analyse the real one.

``import kit`` is instant: the tables, the plots and the widgets load when they are first used.
"""

from __future__ import annotations

__version__ = "0.1.0"
