"""The views of visits by whatever Python runs this, with nothing installed: the judge needs the standard library only.

    python tests/bare_view.py SEQUENCE.json < VISITS > VIEWS       one JSON array of entries a line, one view a line

`chairapp` and `chairapp.sequence` are empty packages here, as on the tablet.
"""

import json
import sys
from pathlib import Path
from types import ModuleType

ROOT = Path(__file__).parents[1]


def main():
    for name in ("chairapp", "chairapp.sequence"):
        sys.modules[name] = _empty(name)
    from chairapp.sequence.view import view

    sequence = json.loads(Path(sys.argv[1]).read_text("utf-8"))
    for line in sys.stdin:
        print(json.dumps(view(sequence, json.loads(line))))


def _empty(name):
    package = ModuleType(name)
    package.__path__ = [str(ROOT.joinpath(*name.split(".")))]
    return package


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
