"""Fifty clients for a minute on loopback: no error, and memory that stays flat.

Usage: python load.py PROGRAM [--clients 50] [--seconds 60]
Standard library only. Memory is the program's own resident set, from /proc.
"""

import argparse
import http.client
import json
import re
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path


def resident_mb(pid):
    text = Path(f"/proc/{pid}/status").read_text()
    return int(re.search(r"VmRSS:\s+(\d+)", text).group(1)) / 1024


class Client(threading.Thread):
    def __init__(self, port, number, until):
        super().__init__()
        self.port, self.number, self.until = port, number, until
        self.replies, self.problems, self.slowest = 0, [], 0.0

    def ask(self, connection, method, path, body=None):
        begun = time.monotonic()
        headers = {"Content-Type": "application/json"} if body is not None else {}
        connection.request(method, path, None if body is None else json.dumps(body), headers)
        reply = connection.getresponse()
        content = reply.read()
        self.slowest = max(self.slowest, time.monotonic() - begun)
        self.replies += 1
        if reply.status not in (200, 409):
            self.problems.append((method, path, reply.status, content[:100]))
        return content

    def run(self):
        try:
            connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=120)
            levels = ["one-screw", "two-screws", "seeing", "camera", "three-with-focus"]
            level = levels[self.number % len(levels)]
            name = json.loads(self.ask(connection, "POST", "/api/sessions", {"level": level}))["session"]
            step = 0
            while time.monotonic() < self.until:
                step += 1
                sign = 1 if step % 2 else -1
                action = {"do": "turn", "screw": "ABC"[step // 2 % 3], "clockwise_turns": sign / 32}
                if step % 150 == 0:
                    name = json.loads(self.ask(connection, "POST", "/api/sessions", {"level": level}))["session"]
                self.ask(connection, "POST", f"/api/sessions/{name}/actions", action)
                self.ask(connection, "GET", f"/api/sessions/{name}/star")
                self.ask(connection, "GET", "/page.js")
        except Exception as problem:  # whatever it is, it is what this test looks for
            self.problems.append(repr(problem))


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("--clients", type=int, default=50)
    parser.add_argument("--seconds", type=float, default=60)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as kept:
        command = [chosen.program, "serve", "--port", "0", "--keep", kept]
        server = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        try:
            port = int(re.search(r":(\d+)/", server.stdout.readline()).group(1))
            until = time.monotonic() + chosen.seconds
            clients = [Client(port, number, until) for number in range(chosen.clients)]
            for client in clients:
                client.start()
            memory = []
            while time.monotonic() < until:
                time.sleep(min(2, chosen.seconds / 20))
                memory.append(resident_mb(server.pid))
            for client in clients:
                client.join()
            alive = server.poll() is None
        finally:
            server.terminate()
            server.wait(timeout=10)
    replies = sum(client.replies for client in clients)
    problems = [problem for client in clients for problem in client.problems]
    middle, end = max(memory[len(memory) // 3 : 2 * len(memory) // 3]), max(memory[2 * len(memory) // 3 :])
    print(f"{chosen.clients} clients, {chosen.seconds:.0f} s: {replies} replies, slowest {max(c.slowest for c in clients):.2f} s, {len(problems)} problems")
    print(f"resident memory: highest of the second third {middle:.0f} MB, of the last third {end:.0f} MB")
    if problems or not alive or end > 1.1 * middle + 10:
        sys.exit(f"failed: {problems[:3]} alive={alive}")


if __name__ == "__main__":
    main()
