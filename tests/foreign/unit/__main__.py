"""`python3 tests/foreign/unit draw|looks ...`"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

if __name__ == "__main__":
    command, rest = (sys.argv[1:2] or ["draw"])[0], sys.argv[2:]
    if command == "looks":
        from unit.looks import main
    else:
        from unit.unit import main
    sys.exit(main(rest))
