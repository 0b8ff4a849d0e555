"""Many simulated trials at once: the same REML and Kenward–Roger, over arrays of trials.

In the order of the work:

    layout      the planned shots as arrays                       lay_out -> Layout
    simulate    draw trials from a stated truth, fit, compare     Truth, SimulatedContrasts
    streams     chunks with random streams of their own           run_chunks, stream_chunks
    fit         REML fits of a chunk of trials                    fit_batch -> BatchFit
    complete    closed form where nothing is lost                 fit_complete, draw_complete

``nested`` and ``crossed`` reduce trials to cross-products, ``moments`` and ``optimise`` find
the REML estimates, ``small_sample`` gives SE, df and F; ``products`` holds the matrix algebra.
"""
