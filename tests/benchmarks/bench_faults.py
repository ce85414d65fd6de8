"""What becomes of each named trouble with each kind of instrument: never a wrong value.

Kinds stand in columns, by number. A wrong value, or a kind that is not right again afterwards, ends this with an error.
"""

from __future__ import annotations

import sys

from tests.drivers.fault_table import main

if __name__ == "__main__":
    sys.exit(main())
