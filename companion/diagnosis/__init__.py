"""What a reading means, and which test comes next.

``advisor.counsel_for`` makes the reasoner, by network and belief, that a call is advised by.
``judge`` and ``fixed_sweep`` are rules on single readings and the sweep that the trade teaches.
The reasoner is not imported here, so that what does not use it starts as fast.
"""

from companion.diagnosis.judges import VERDICTS, judge
from companion.diagnosis.sweep import fixed_sweep

__all__ = ["VERDICTS", "fixed_sweep", "judge"]
