"""Try the whole kit on hostile input: each file must be read, or refused in a line that says why.

Run it by hand: ``python tests/benchmarks/hostile.py`` (an hour on two cores; ``--share 0.02`` for
a minute or two). It tries 20,000 mutants of each format (MusicXML as text and compressed, MIDI,
text charts), 10,000 of the decision log, and 300 songs, odd ones and accepted mutants, through
every command, each with limits of time and memory, in processes of their own. It prints a table, in
which each column from "other error" to "not read back" should be zero, and the places where
something failed; the exit code is 1 if something did.

An item is made from its kind, its number and the seed, and is always the same for the same code
(the mutants in the chain are those that are accepted). To try one alone: ``python
tests/benchmarks/hostile.py --only chart --number 123``.
"""

from __future__ import annotations

import argparse
import contextlib
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from mutants.chain import STEPS
from mutants.items import COUNTS, attempt, groups_of, items_of, table_of
from mutants.trying import FAILURES, Outcome
from mutants.workers import try_all

TELL = 500  # items between two progress lines


def main() -> int:
    """Try the items, print the table and what failed; return 1 if something did."""
    options = _options()
    kinds = [each for name in options.only or COUNTS for each in _kinds(name)]
    items = items_of(options.share, kinds)
    if options.number is not None:
        items = [(kind, options.number) for kind in kinds]
    begun = time.monotonic()
    outcomes: list[Outcome] = []
    with contextlib.suppress(KeyboardInterrupt):  # what was tried until then is reported
        _try(items, options, outcomes)
    seconds = time.monotonic() - begun
    print(table_of(outcomes).to_string())
    print(f"{len(outcomes)} items in {seconds:.0f} s, {len(outcomes) / seconds:.1f} a second, "
          f"seed {options.seed}")  # fmt: skip
    failed = groups_of(outcomes)
    print(*failed, sep="\n")
    return int(bool(failed))


def _try(
    items: list[tuple[str, int]], options: argparse.Namespace, outcomes: list[Outcome]
) -> None:
    """Fill the outcomes; report each failure and, from time to time, the progress."""
    for outcome in try_all(items, attempt, options.seed, options.jobs, options.keep):
        outcomes.append(outcome)
        if outcome.verdict in FAILURES:
            line = f"{outcome.kind} {outcome.number}: {outcome.verdict}: {outcome.place}: "
            print(line + outcome.why, file=sys.stderr)
            if options.number is not None:
                print(outcome.trace, file=sys.stderr)
        if len(outcomes) % TELL == 0:
            print(f"{len(outcomes)} of {len(items)}", file=sys.stderr)


def _kinds(name: str) -> tuple[str, ...]:
    return STEPS if name == "chain" else (name,)


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Try the whole job with hostile input.")
    parser.add_argument("--share", type=float, default=1.0, help="of each kind (default: 1)")
    parser.add_argument("--jobs", type=int, default=2, help="processes (default: 2)")
    parser.add_argument(
        "--only", action="append", choices=[*COUNTS, "chain"], metavar="KIND",
        help=f"{', '.join(COUNTS)}, or chain for all steps; may be given several times",
    )  # fmt: skip
    parser.add_argument("--number", type=int, help="one item alone, with its traceback")
    parser.add_argument("--keep", type=Path, metavar="FOLDER", help="where failing files go")
    parser.add_argument("--seed", type=int, default=1, help="another one, other mutants")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
