"""The catalogues of the languages: `python -m tools.languages update|check|show`.

`update` finds every sentence of the sources and brings the catalogues up to date, each under
`rig/words/languages`; what was translated stays. `check` refuses wrong placeholders and tells what
is missing. `show KEY` says a language's share.
"""

import sys

from tools.languages.catalogues import check, update

USAGE = "python -m tools.languages update | check [KEY ...]"


def main(words: list[str]) -> int:
    """Do one of them; 1 where something is wrong."""
    match words:
        case ["update"]:
            for line in update():
                print(line)
            return 0
        case ["check", *keys]:
            wrong, told = check(keys)
            print("\n".join([*told, *wrong]))
            return 1 if wrong else 0
    print(USAGE, file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
