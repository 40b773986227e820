"""Print one of the README's commands: the code block that follows `<!-- command: NAME -->`."""

import re
import sys
from pathlib import Path

text, name = Path(sys.argv[1]).read_text(encoding="utf-8"), sys.argv[2]
found = re.search(rf"<!-- command: {re.escape(name)} -->\s*```(?:sh|bash)\n(.*?)\n```", text, re.S)
if not found:
    sys.exit(f"README has no command {name}")
sys.stdout.write(found.group(1).strip() + "\n")
