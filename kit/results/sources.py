"""The works that a report cites, written out: only those its own words refer to."""

from __future__ import annotations

import re
from collections.abc import Iterable

ALWAYS = (
    "Fisher RA (1935) The design of experiments. Oliver and Boyd, Edinburgh.",
    "JCGM 100:2008 Guide to the expression of uncertainty in measurement.",
    "Schulz KF, Altman DG, Moher D (2010) CONSORT 2010 statement: updated guidelines for reporting "
    "parallel group randomised trials. BMJ 340:c332.",
    "EFSA NDA Panel (2015) Scientific opinion on the safety of caffeine. EFSA Journal 13:4102.",
)
CITED = {
    "Bonferroni": "Dunn OJ (1961) Multiple comparisons among means. Journal of the American "
    "Statistical Association 56:52.",
    "Box and Andersen": "Box GEP, Andersen SL (1955) Permutation theory in the derivation of "
    "robust criteria and the study of departures from assumption. Journal of the Royal "
    "Statistical Society B 17:1.",
    "Dunnett": "Dunnett CW (1955) A multiple comparison procedure for comparing several treatments "
    "with a control. Journal of the American Statistical Association 50:1096.",
    "false-discovery rate": "Benjamini Y, Hochberg Y (1995) Controlling the false discovery rate. "
    "Journal of the Royal Statistical Society B 57:289.",
    "Holm": "Holm S (1979) A simple sequentially rejective multiple test procedure. Scandinavian "
    "Journal of Statistics 6:65.",
    "Hsu": "Hsu JC (1984) Constrained simultaneous confidence intervals for multiple comparisons "
    "with the best. Annals of Statistics 12:1136.",
    "Kenward and Roger": "Kenward MG, Roger JH (1997) Small sample inference for fixed effects "
    "from restricted maximum likelihood. Biometrics 53:983.",
    "Newcombe": "Newcombe RG (1998) Interval estimation for the difference between independent "
    "proportions. Statistics in Medicine 17:873.",
    "Satterthwaite": "Satterthwaite FE (1946) An approximate distribution of estimates of variance "
    "components. Biometrics Bulletin 2:110.",
    "Shapiro and Wilk": "Shapiro SS, Wilk MB (1965) An analysis of variance test for normality. "
    "Biometrika 52:591.",
    "Tukey and Kramer": "Kramer CY (1956) Extension of multiple range tests to group means with "
    "unequal numbers of replications. Biometrics 12:307.",
    "Wilson": "Wilson EB (1927) Probable inference, the law of succession, and statistical "
    "inference. Journal of the American Statistical Association 22:209.",
    "duo-trio": "ISO 10399:2017 Sensory analysis. Methodology. Duo-trio test.",
    "paired": "ISO 5495:2005 Sensory analysis. Methodology. Paired comparison test.",
    "triangle": "ISO 4120:2021 Sensory analysis. Methodology. Triangle test.",
}
"""By the words that cite them."""


def works_cited(texts: Iterable[str]) -> tuple[str, ...]:
    """The works that these texts refer to, and those every report rests on, by name."""
    words = " ".join(texts)
    cited = [work for key, work in CITED.items() if re.search(rf"\b{re.escape(key)}\b", words)]
    return tuple(sorted([*ALWAYS, *cited]))
