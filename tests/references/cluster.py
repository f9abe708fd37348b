#!/usr/bin/env python3
"""Make a set with a cluster scheduler, in disjoint ranges that know nothing of each other, and prove it whole.

    python cluster.py PROGRAM RECIPE COUNT

Two worker processes of Dask take four ranges in any order, each into a folder of its own; the folders are merged by copying.
`dataset verify` must find the merged set whole, and its files must be those of one run on this machine, byte for byte. A part
that is left out must be found missing.
"""
import json
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from dask.distributed import Client, LocalCluster


def make(program, recipe, out, start, count):
    command = [program, "dataset", "make", recipe, "--out", out, "--start", str(start), "--count", str(count), "--quiet"]
    subprocess.run(command, check=True, capture_output=True)
    return start


def verify(program, recipe, out, count):
    command = [program, "dataset", "verify", recipe, "--out", out, "--count", str(count), "--json"]
    done = subprocess.run(command, capture_output=True, text=True)
    return done.returncode, json.loads(done.stdout)


def contents(folder):
    return {path.name: path.read_bytes() for path in sorted(Path(folder).iterdir())}


def main():
    program, recipe, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
    with tempfile.TemporaryDirectory() as top:
        step = -(-count // 4)
        ranges = [(start, min(step, count - start)) for start in range(0, count, step)]
        with LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None) as cluster, Client(cluster) as client:
            jobs = [client.submit(make, program, recipe, f"{top}/part-{start}", start, n) for start, n in reversed(ranges)]
            client.gather(jobs)
        merged = Path(top) / "merged"
        merged.mkdir()
        for start, _ in ranges[1:]:
            for path in Path(f"{top}/part-{start}").iterdir():
                shutil.copy(path, merged)
        status, report = verify(program, recipe, str(merged), count)
        if status != 1 or report["gaps"] != [{"first": 0, "last": ranges[0][1] - 1}]:
            sys.exit(f"the missing part was not found: {report}")
        for path in Path(f"{top}/part-0").iterdir():
            shutil.copy(path, merged)
        status, report = verify(program, recipe, str(merged), count)
        if status != 0 or not report["complete"]:
            sys.exit(f"the merged set is not whole: {report}")
        make(program, recipe, f"{top}/one", 0, count)
        _, alone = verify(program, recipe, f"{top}/one", count)
        if alone["content_sha256"] != report["content_sha256"]:
            sys.exit("the merged set is another one than that of a single run")
        aligned = contents(f"{top}/one") == contents(merged)
        print(f"{count} items in {len(ranges)} ranges by 2 Dask workers: whole, content {report['content_sha256'][:16]}…, "
              f"files {'the same' if aligned else 'cut otherwise, content the same'} as of one run")


if __name__ == "__main__":
    main()
