"""From a plain table with codebook columns to estimates, intervals and tests."""
