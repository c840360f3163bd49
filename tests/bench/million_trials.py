#!/usr/bin/env python3
"""Analysis and report of a journal with a million trials, and the comparison of two of them: peak
memory, and time against merely parsing with simdjson and checking the CRCs. Prints goal, reference
and ratio.

    tests/bench/million_trials.py build/check [TRIALS]
"""
import gzip
import os
import pathlib
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

HERE = pathlib.Path(__file__).resolve().parent
RUNS = 3


def measure(*command):
    """Wall seconds and peak MiB of one run of a command."""
    begin = time.monotonic()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode not in (0, 1, 4):
        sys.exit(f"{command[0]} ended with {process.returncode}")
    return time.monotonic() - begin, usage.ru_maxrss / 1024


def unpack(run):
    """A long run's journal has packed parts: makes it one plain file again."""
    whole = run / "whole.jsonl"
    with whole.open("wb") as out:
        for part in sorted(run.glob("journal.*.jsonl.gz")):
            with gzip.open(part) as packed:
                shutil.copyfileobj(packed, out)
            part.unlink()
        with (run / "journal.jsonl").open("rb") as last:
            shutil.copyfileobj(last, out)
    whole.replace(run / "journal.jsonl")


def main():
    build = pathlib.Path(sys.argv[1] if len(sys.argv) > 1 else "build/check")
    trials = int(sys.argv[2]) if len(sys.argv) > 2 else 1_000_000
    plexor, bare = build / "src/app/plexor", build / "tests/bench/bare_parse"
    with tempfile.TemporaryDirectory(prefix="plexor-bench-") as folder:
        scenario = pathlib.Path(folder, "scenario.toml")
        scenario.write_text((HERE / "million.toml").read_text().replace("1_000_000", str(trials)))
        run = pathlib.Path(folder, "run")
        measure(plexor, "run", scenario, "--rig", HERE / "dice.toml", "--out", run)
        packed_s = measure(plexor, "report", run)[0]
        unpack(run)
        journal = run / "journal.jsonl"
        print(f"{trials} trials, journal of {journal.stat().st_size / 1e6:.0f} MB, "
              f"medians of {RUNS} runs in turn")
        other = pathlib.Path(folder, "other")
        scenario.write_text(scenario.read_text().replace("seed = 1", "seed = 2"))
        measure(plexor, "run", scenario, "--rig", HERE / "dice.toml", "--out", other)
        unpack(other)
        compare_s, compare_peak = measure(plexor, "compare", run, other)
        paired_s, paired_peak = measure(plexor, "compare", run, run)
        bare_both_s = measure(bare, journal)[0] + measure(bare, other / "journal.jsonl")[0]
        pairs = [(measure(plexor, "report", run), measure(bare, journal)) for _ in range(RUNS)]
    report_s = statistics.median(pair[0][0] for pair in pairs)
    bare_s = statistics.median(pair[1][0] for pair in pairs)
    peak = max(pair[0][1] for pair in pairs)
    ratio = statistics.median(pair[0][0] / pair[1][0] for pair in pairs)
    print(f"report {report_s:.2f} s, simdjson and CRC {bare_s:.2f} s, "
          f"ratio {ratio:.2f} (goal at most 2); {packed_s:.2f} s where its parts are packed")
    print(f"peak memory of report {peak:.0f} MiB (goal under 300)")
    print(f"compare of two: unpaired {compare_s:.2f} s, paired {paired_s:.2f} s, simdjson and CRC of "
          f"both {bare_both_s:.2f} s, ratios {compare_s / bare_both_s:.2f} and "
          f"{paired_s / bare_both_s:.2f}; peak memory {max(compare_peak, paired_peak):.0f} MiB")


main()
