"""Sample sessions: invented trials with known truth."""
