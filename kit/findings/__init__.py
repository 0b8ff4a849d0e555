"""From estimates and the smallest difference that matters to verdicts and sentences, as data."""

from kit.findings.claims import CONTRADICTED, SILENT, SUPPORTED, Claim, claim_sheet
from kit.findings.findings import Findings, OutcomeFinding, state_findings
from kit.findings.limits import Record, limits_of

__all__ = [
    "CONTRADICTED",
    "SILENT",
    "SUPPORTED",
    "Claim",
    "Findings",
    "OutcomeFinding",
    "Record",
    "claim_sheet",
    "limits_of",
    "state_findings",
]
