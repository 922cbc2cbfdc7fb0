"""What a reading means, and which test comes next.

``judge`` and ``fixed_sweep`` are the first, rule-based reasoner. The reasoner by network
and belief starts at ``case.open_case``; ``adapters`` puts it behind the same two doors.
Nothing of it is imported here, so that a call that does not use it starts as fast.
"""

from companion.diagnosis.judges import VERDICTS, judge
from companion.diagnosis.sweep import fixed_sweep

__all__ = ["VERDICTS", "fixed_sweep", "judge"]
