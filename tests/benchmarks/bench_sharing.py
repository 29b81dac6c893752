"""How quickly fruit is shared out among sixty claims, beside a bare baseline in the same process.

    python -m tests.benchmarks.bench_sharing [--strict]

The baseline is that of `bench_engine`: a thousand exact products and sums. With `--strict` the exit status is 1 when
sharing out takes more than so many times as long.
"""

from __future__ import annotations

import sys

from inventory.fruit.sharing import ClaimInput, share_out
from tests.benchmarks.bench_engine import bare_baseline, typical

CLAIMS = 60
UNITS = 120_000
MOST_TIMES = 10  # the baseline; measured: 0.8 to 1.4


def main() -> int:
    wishes = [ClaimInput(f"{n:02}", 4_000 + 400 * (n % 17), 900 * (n % 5), 700 * (n % 7)) for n in range(CLAIMS)]
    bare = typical(bare_baseline for _ in range(50))
    seconds = typical((lambda: share_out(UNITS, wishes)) for _ in range(20))
    times = seconds / bare
    verdict = "within" if times <= MOST_TIMES else "OVER"
    print(f"{CLAIMS} claims shared out in {seconds * 1000:.2f} ms: {times:.1f} x baseline, {verdict} {MOST_TIMES}")
    return 1 if "--strict" in sys.argv[1:] and times > MOST_TIMES else 0


if __name__ == "__main__":
    sys.exit(main())
