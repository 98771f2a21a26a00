"""Power off and on by commands of the tester's own, so that a cold boot needs no hand. An edge: it starts processes.

What is started stands in one file that the tester names on the command line of the host. Nothing else can name it or
add to it: not a study file, not what comes over a line or in a record, not the page. docs/power.md is the guide.
"""

from readoff.power.command import Ended, run_command
from readoff.power.cycle import Cycled, cycle
from readoff.power.declared import Bench, Command, load_bench
from readoff.power.keeper import Keeper

__all__ = ["Bench", "Command", "Cycled", "Ended", "Keeper", "cycle", "load_bench", "run_command"]
