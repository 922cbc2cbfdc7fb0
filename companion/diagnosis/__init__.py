"""What a reading means, and which test comes next."""

from companion.diagnosis.judges import VERDICTS, judge
from companion.diagnosis.sweep import fixed_sweep

__all__ = ["VERDICTS", "fixed_sweep", "judge"]
