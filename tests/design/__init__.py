from pathlib import Path

REFERENCE = Path(__file__).parents[1] / "reference"
